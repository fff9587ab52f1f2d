"""By which rules an interrupted run goes on: gap, energy, line, clocks; and a computer in need."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from record_samples import new_writer
from stand_in_bench import StandInBench

from sequencer.documents.load import Documents, load_profile
from sequencer.documents.profile import Resume
from sequencer.errors import ComputerFailed
from sequencer.judging import planned_trials
from sequencer.order import Turn
from sequencer.record.read import Step
from sequencer.requests import Apply, Ask, Read, Readings
from sequencer.run import away, session
from sequencer.run.loop import perform
from sequencer.run.operator_words import SWITCH_LINE_ON
from sequencer.run.past import Decision, Past
from sequencer.run.rehearsal import Rehearsal
from sequencer.run.restoring import restoring
from sequencer.run.session import run_trials
from sequencer.run.stop import Stop
from sequencer.trials.steps import LOAD_OFF
from sequencer.trials.trial import Context

START = datetime(2026, 11, 25, 22, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def documents() -> Documents:
    return load_profile("overnight")


def cut_off_in_the_soak(documents: Documents) -> tuple[Any, Any, Context, list[Step]]:
    """A soak's steps up to its long Read, which was cut off."""
    trial, settings = next(one for one in planned_trials(documents) if one[0].name == "soak")
    context = Context(documents.unit, documents.bench)
    nominal = Rehearsal(documents.unit, documents.bench)
    perform(trial.procedure(settings, context), nominal)
    at = next(
        n
        for n, step in enumerate(nominal.steps)
        if isinstance(step.request, Read) and step.request.tag.get("phase") == "soak"
    )
    last = nominal.steps[at]
    cut = replace(last, reply=None, readings=last.reply)
    return trial, settings, context, [*nominal.steps[:at], cut]


def decided(
    documents: Documents, gap_s: float, *, energised: bool, rules: Resume | None = None
) -> Decision:
    trial, settings, context, steps = cut_off_in_the_soak(documents)
    past = Past([steps], rules or Resume(), last_time_s=100.0, last_request=9)
    past.gap_s, past.energised = gap_s, energised
    return past.decide(trial, settings, context, steps)


def test_a_unit_that_kept_its_load_goes_on_at_once(documents: Documents) -> None:
    assert decided(documents, 60.0, energised=True).way == "go on"


def test_one_that_lost_it_is_warmed_up_again(documents: Documents) -> None:
    rules = Resume.model_validate({"warm_up_again": "10 min"})
    found = decided(documents, 60.0, energised=False, rules=rules)
    assert found.way == "warm up again and go on"
    assert "600 s" in found.why


def half_read(steps: list[Step]) -> list[Step]:
    """The same steps, but only half of the soak's readings were taken."""
    read = steps[-1].readings
    parts = (
        {channel: values[: values.size // 2] for channel, values in part.items()}
        for part in (read.asked, read.answered, read.value)
    )
    return [*steps[:-1], replace(steps[-1], readings=Readings(*parts))]


def test_it_is_said_beforehand_what_becomes_of_each_trial_and_how_long_that_takes(
    documents: Documents,
) -> None:
    trial, settings, context, steps = cut_off_in_the_soak(documents)
    turns = [Turn(0, trial, settings, context), Turn(1, trial, settings, context)]
    soak_s, warm_up_s = settings.duration, settings.warm_up
    past = Past([half_read(steps)], Resume(), last_time_s=100.0, last_request=9)

    past.gap_s, past.energised = 60.0, True
    kept = past.outlook(turns)
    assert kept.lines[0] == "The unit kept its load over a gap of 60 s."
    assert "soak: goes on where it was cut off, as the unit kept its load" in kept.lines[1]
    assert kept.lines[2] == "soak: not begun yet."
    whole_s = past.outlook(turns[1:]).left_s
    assert whole_s == pytest.approx(warm_up_s + soak_s, rel=0.01)
    assert kept.left_s - whole_s == pytest.approx(soak_s / 2, rel=0.02)

    past.energised = False
    lost = past.outlook(turns)
    assert "after a new warm-up, as the unit lost its load over a gap of 60 s" in lost.lines[1]
    assert lost.left_s - kept.left_s == pytest.approx(warm_up_s, rel=0.02)

    past.gap_s = 3000.0
    long = past.outlook(turns)
    assert "STARTS OVER, as a gap of 3000 s is longer than the 1800 s allowed" in long.lines[1]
    assert long.left_s == pytest.approx(2 * whole_s)


@pytest.mark.parametrize("energised", [True, False])
def test_a_gap_that_is_too_long_or_unknown_starts_over(
    documents: Documents, energised: bool
) -> None:
    for gap_s in (1801.0, float("nan")):
        assert decided(documents, gap_s, energised=energised).way == "start over"
    assert "clock was set back" in decided(documents, float("nan"), energised=energised).why


def _steady(value: float, _at: float) -> float:
    return value


@pytest.mark.parametrize(
    ("volts", "amperes", "made_safe", "kept"),
    [
        (30.0, 3.0, False, True),
        (30.0, 3.0, True, False),  # the guardian was there
        (30.0, 0.0, False, False),
        (0.0, 0.0, False, False),
        (29.0, 3.0, False, False),  # another setting
    ],
)
def test_whether_it_kept_its_load_is_read(
    documents: Documents, tmp_path: Path, volts: float, amperes: float, made_safe: bool, kept: bool
) -> None:
    _, _, _, steps = cut_off_in_the_soak(documents)
    last = {name: float(series[-1]) for name, series in steps[-1].readings.value.items()}
    now: dict[str, Callable[[float], float]] = {
        name: partial(_steady, value * (volts / 30 if name.startswith("voltage") else amperes / 3))
        for name, value in last.items()
    }
    bench = StandInBench(now)
    bench.clock.time = 130.0
    past = Past([steps], Resume(), last_time_s=100.0, last_request=9, made_safe=made_safe)
    with new_writer(tmp_path / "run.sqlite") as writer:
        past.look(bench, writer)
    assert past.energised is kept
    assert past.gap_s == pytest.approx(30.0)
    assert bench.load is not None
    assert bench.load.history == []  # nothing is switched by looking


def test_where_making_safe_took_the_line_away_a_person_switches_it_on_again(
    documents: Documents,
) -> None:
    _, _, _, steps = cut_off_in_the_soak(documents)
    for line_off in (True, False):
        asked = list(restoring(steps, None, line_off=line_off))
        assert asked[0] == Apply(LOAD_OFF)
        assert (Ask(SWITCH_LINE_ON) in asked) is line_off
        if line_off:
            assert asked.index(Ask(SWITCH_LINE_ON)) == 1  # before the supply is set


def at(**since: float) -> float:
    """Bench time two hours after the start, by each clock."""
    now = START + timedelta(seconds=since["wall"])
    return away.bench_time_now(
        START.isoformat(), {"boot": "a", "boot_time_s": 1000.0}, since["last"], now
    )


def test_the_later_of_both_clocks_tells_the_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(away, "_since_boot", lambda: 1000.0 + 7200.0)
    monkeypatch.setattr(away, "_boot", lambda: "a")
    assert at(wall=7200.0, last=3600.0) == 7200.0
    assert at(wall=3601.0, last=3600.0) == 7200.0  # set back by an hour: not a gap of a second
    assert at(wall=9000.0, last=3600.0) == 9000.0


def test_over_a_reboot_a_clock_set_back_leaves_the_gap_unknown(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(away, "_since_boot", lambda: 1000.0 + 7200.0)
    monkeypatch.setattr(away, "_boot", lambda: "b")
    assert at(wall=7200.0, last=3600.0) == 7200.0
    assert at(wall=3000.0, last=3600.0) != at(wall=3000.0, last=3600.0)  # NaN


def test_a_computer_without_memory_makes_safe_and_stops(
    documents: Documents, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def exhausted(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(session, "preflight", exhausted)
    quiet = [c for c in documents.bench.channels if c.startswith(("voltage.", "current."))]
    bench = StandInBench({name: lambda _: 0.0 for name in quiet})
    assert bench.load is not None
    bench.load.on = True
    with new_writer(tmp_path / "run.sqlite") as writer:
        ended = run_trials(bench, documents, writer, Stop())
    assert isinstance(ended.stopped_by, ComputerFailed)
    assert "no memory" in str(ended.stopped_by)
    assert not bench.load.on
    assert ended.safe.steps[0].verified
