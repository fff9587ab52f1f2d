"""A meter that is moved: what can be read where, what a movement has to show, and making safe."""

from typing import Any

import pytest
from documents_made_up import BENCH, changed, mistakes
from stand_in_bench import Notebook, StandInBench

from sequencer.documents.bench import BenchDocument
from sequencer.errors import GuardTripped, TrialStopped
from sequencer.requests import Answered, Ask, Read
from sequencer.run.guard_bound import GuardBound
from sequencer.run.guards import Guards
from sequencer.run.leads import Leads
from sequencer.run.live import LiveBench
from sequencer.run.make_safe import make_safe
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.session import _proven

SENSE = BENCH["channels"]["voltage.sense"] | {"leads": "sense terminals"}
LOAD = BENCH["channels"]["voltage.sense"] | {"leads": "load terminals"}
MOVED = changed(
    changed(BENCH, "channels", "voltage.sense", to=SENSE), "channels", "voltage.load", to=LOAD
)
MOVE = Ask("Move the leads of the meter to the load terminals.", "voltage.load", 29.5, 30.5, 20.0,
           lifted=True)  # fmt: skip


class Table:
    """One meter; `lifted_at` is the time from which on its leads hang in the air for 2 s."""

    def __init__(self, *bounds: GuardBound, lifted_at: float = 3.0) -> None:
        def volts(at: float) -> float:
            return 0.0 if lifted_at <= at < lifted_at + 2.0 else 30.0

        self.bench = StandInBench({"voltage.sense": volts, "voltage.load": volts})
        channels = BenchDocument.model_validate(MOVED).channels
        self.leads = Leads(channels)
        self.live = LiveBench(self.bench, Notebook(), Guards(bounds), leads=self.leads)


def test_a_movement_shows_by_a_reading_that_falls_away_and_comes_back() -> None:
    table = Table()
    reply = table.live.answer(MOVE)
    assert isinstance(reply, Answered)
    assert reply.done
    assert reply.at >= 5.0
    assert not table.leads.in_air
    table.live.answer(Read(("voltage.load",), count=1, period_s=1.0))


def test_a_reading_that_was_near_all_along_proves_no_movement() -> None:
    table = Table(lifted_at=1e9)
    reply = table.live.answer(MOVE)
    assert isinstance(reply, Answered)
    assert not reply.done
    assert table.leads.in_air  # nobody knows where they are: no reading proves anything


def test_a_movement_counts_only_once_the_person_says_so() -> None:
    table = Table()
    assert table.bench.operator is not None
    table.bench.operator.deaf = True
    reply = table.live.answer(MOVE)
    assert isinstance(reply, Answered)
    assert not reply.done


def test_a_place_where_the_leads_are_not_is_not_read() -> None:
    table = Table()
    with pytest.raises(TrialStopped, match=r"voltage\.load can't be read"):
        table.live.answer(Read(("voltage.load",), count=1, period_s=1.0))


def test_guards_of_another_place_rest_and_begin_again() -> None:
    table = Table(GuardBound("voltage.sense", at_most=29.0, source="a test"))
    table.leads.move_to("voltage.load")
    guards = Guards([GuardBound("voltage.sense", at_most=29.0, source="a test")])
    live = LiveBench(table.bench, Notebook(), guards, leads=table.leads)
    live.answer(Read(("voltage.load",), count=60, period_s=1.0))
    table.leads.move_to("voltage.sense")
    guards.leave_out(table.leads.away)
    with pytest.raises(GuardTripped, match=r"voltage\.sense"):
        live.answer(Read(("voltage.sense",), count=1, period_s=1.0))


def test_a_meter_that_may_hang_in_the_air_proves_no_voltage_gone() -> None:
    table = Table(lifted_at=1e9)
    table.bench.channels = {**table.bench.channels, "current.load": lambda _: 0.0}
    job = safe_job_of(BenchDocument.model_validate(MOVED))
    for in_air, verified in ((False, True), (True, False)):
        table.leads.in_air = in_air
        proven = _proven(job, table.leads)
        table.bench.channels = dict.fromkeys(("voltage.sense", "current.load"), lambda _: 0.0)
        report = make_safe(
            table.bench,
            proven.order,
            current_channels=proven.current_channels,
            voltage_channels=proven.voltage_channels,
        )
        assert report.verified is verified
    assert "no channel is there to prove it" in str(report)
    # The guardian, which can't know, never takes such a meter's word.
    assert job.moved_channels == ("voltage.sense", "voltage.load")
    assert SafeJob.from_json(job.as_json()) == job


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(MOVED, "channels", "voltage.load", to=BENCH["channels"]["voltage.sense"]),
            'channels."voltage.load".leads: found nothing, expected a place',
        ),
        (
            changed(MOVED, "channels", "voltage.load", to=LOAD | {"leads": "somewhere"}),
            'channels."voltage.load".leads: found "somewhere"',
        ),
        (
            changed(MOVED, "bench", "operator", to="none"),
            'channels."voltage.sense".leads: found leads that nobody can move',
        ),
    ],
)
def test_mistakes_are_told(data: dict[str, Any], line: str) -> None:
    assert any(found.startswith(line) for found in mistakes(BenchDocument, data))
