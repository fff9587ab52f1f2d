"""The live bench: what it does, records and refuses, without any instrument."""

import math
import signal
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from stand_in_bench import Notebook, StandInBench, Value

from sequencer.errors import GuardTripped, Interrupted, TrialStopped
from sequencer.requests import (
    Answered,
    Apply,
    Ask,
    LoadState,
    Note,
    Read,
    Readings,
    Settle,
    Settled,
    SupplyState,
)
from sequencer.run.guards import GuardBound, Guards
from sequencer.run.live import LiveBench
from sequencer.run.stop import Stop


def live(
    channels: Mapping[str, Callable[[float], Value]], *bounds: GuardBound
) -> tuple[LiveBench, StandInBench, Notebook]:
    bench = StandInBench(channels)
    notebook = Notebook()
    return LiveBench(bench, notebook, Guards(bounds)), bench, notebook


def test_reads_on_an_absolute_schedule_so_that_reading_time_adds_up_to_nothing() -> None:
    answerer, _, _ = live({"voltage.sense": lambda t: t})
    reply = answerer.answer(Read(("voltage.sense",), count=100, period_s=1.0))
    assert isinstance(reply, Readings)
    np.testing.assert_allclose(reply.asked["voltage.sense"], np.arange(100.0), atol=1e-9)


def test_leaves_out_ticks_that_came_too_late_and_says_so() -> None:
    answerer, bench, notebook = live({"voltage.sense": lambda t: t})
    bench.reading_time_s = 2.5
    reply = answerer.answer(Read(("voltage.sense",), count=10, period_s=1.0))
    assert isinstance(reply, Readings)
    assert reply.value["voltage.sense"].size < 10
    assert [event[0] for event in notebook.events] == ["late"]


def test_every_reading_is_in_the_record_before_its_guard_is_looked_at() -> None:
    answerer, _, notebook = live(
        {"voltage.sense": lambda t: 30.0 if t < 5 else 36.0},
        GuardBound("voltage.sense", at_most=35.0, source="a test"),
    )
    with pytest.raises(GuardTripped, match=r"voltage\.sense was 36.*35.*a test"):
        answerer.answer(Read(("voltage.sense",), count=100, period_s=1.0))
    assert notebook.readings[-1][3].value == 36.0
    assert 0 not in notebook.replies


def test_guards_watch_channels_that_the_trial_does_not_read() -> None:
    answerer, bench, notebook = live(
        {"voltage.sense": lambda _: 30.0, "temperature.heatsink": lambda t: 20.0 + 3.0 * t},
        GuardBound("temperature.heatsink", at_most=80.0, source="a test"),
    )
    with pytest.raises(GuardTripped, match=r"temperature\.heatsink"):
        answerer.answer(Read(("voltage.sense",), count=1000, period_s=1.0))
    assert bench.clock.now() <= 20.0 + 5.0 + 1.0
    assert {role for _, _, role, r in notebook.readings if r.channel == "temperature.heatsink"} == {
        "watch"
    }


def test_guards_watch_while_waiting_to_settle_and_while_a_person_works() -> None:
    heat = {
        "voltage.sense": math.sin,
        "temperature.heatsink": lambda t: 20.0 + 3.0 * t,
    }
    bound = GuardBound("temperature.heatsink", at_most=80.0, source="a test")
    for request in (
        Settle({"voltage.sense": 1e-6}, window_s=2.0, period_s=0.5, limit_s=1e4),
        Ask("Set the output voltage to 30.000 V.", "voltage.sense", 29.0, 31.0, limit_s=1e4),
    ):
        answerer, bench, _ = live(heat, bound)
        with pytest.raises(GuardTripped):
            answerer.answer(request)
        assert bench.clock.now() < 27.0


def test_an_overload_on_a_guarded_channel_trips_its_guard() -> None:
    answerer, _, _ = live(
        {"voltage.sense": lambda _: (math.nan, "overload")},
        GuardBound("voltage.sense", at_most=35.0, source="a test"),
    )
    with pytest.raises(GuardTripped, match="over its meter's range"):
        answerer.answer(Read(("voltage.sense",), count=1, period_s=1.0))


def test_settles_only_when_slope_and_scatter_are_small() -> None:
    answerer, _, _ = live({"voltage.sense": lambda t: 30.0 + math.exp(-t)})
    reply = answerer.answer(
        Settle({"voltage.sense": 1e-3}, window_s=2.0, period_s=0.5, limit_s=60.0)
    )
    assert isinstance(reply, Settled)
    assert reply.settled
    # exp(-t) changes by 1 mV within a window of 2 s from about t = 6.8 s on.
    assert 6.0 < reply.waited_s < 12.0


def test_not_settled_is_a_reply_and_no_error() -> None:
    answerer, _, _ = live({"voltage.sense": lambda t: 30.0 + 0.01 * t})
    reply = answerer.answer(
        Settle({"voltage.sense": 1e-3}, window_s=2.0, period_s=0.5, limit_s=20.0)
    )
    assert isinstance(reply, Settled)
    assert not reply.settled
    assert reply.slope_per_s["voltage.sense"] == pytest.approx(0.01)


def test_a_person_is_done_when_the_reading_has_stayed_in_its_band() -> None:
    answerer, bench, _ = live({"voltage.sense": lambda t: 30.0 if t > 12 else 20.0})
    reply = answerer.answer(Ask("Set the output voltage to 30.000 V.", "voltage.sense", 29.9, 30.1))
    assert isinstance(reply, Answered)
    assert reply.done
    assert 12.0 < bench.clock.now() < 18.0
    assert bench.operator is not None
    assert bench.operator.finished == 1


def test_a_person_who_does_not_understand_stops_the_trial() -> None:
    answerer, bench, _ = live({})
    assert bench.operator is not None
    bench.operator.lost = True
    with pytest.raises(TrialStopped, match="what knob"):
        answerer.answer(Ask("Turn it up."))
    assert bench.operator.finished == 1


def test_a_voltage_that_never_comes_into_its_band_stops_the_trial() -> None:
    answerer, _, _ = live({"voltage.sense": lambda _: 12.0})
    with pytest.raises(TrialStopped, match=r"voltage\.sense read 12 V"):
        answerer.answer(Apply(SupplyState(voltage=30.0, band=0.03)))


def test_knobs_that_are_set_already_are_not_asked_for_again() -> None:
    answerer, bench, _ = live({"voltage.sense": lambda _: 30.0})
    state = SupplyState(voltage=30.0, current_limit="maximum", output=True, band=0.03)
    for _ in range(3):
        answerer.answer(Apply(state))
    assert bench.operator is not None
    assert bench.operator.heard == [
        "Turn the current limit fully up.",
        "Switch the output on.",
        "Set the output voltage to 30.000 V.",
    ]


def test_a_trial_that_needs_a_person_is_stopped_where_there_is_none() -> None:
    answerer, bench, _ = live({})
    bench.operator = None
    with pytest.raises(TrialStopped, match="A person is needed"):
        answerer.answer(Apply(SupplyState(output=True)))


def test_guards_watch_through_waits_longer_than_their_period() -> None:
    answerer, bench, _ = live(
        {"voltage.sense": lambda _: 30.0, "temperature.heatsink": lambda t: 20.0 + 3.0 * t},
        GuardBound("temperature.heatsink", at_most=80.0, source="a test"),
    )
    with pytest.raises(GuardTripped):
        answerer.answer(Read(("voltage.sense",), count=3, period_s=600.0))
    assert bench.clock.now() < 27.0


def test_a_stop_ends_the_next_reading_and_nothing_in_the_middle() -> None:
    bench = StandInBench({"voltage.sense": lambda t: t})
    notebook = Notebook()
    stop = Stop()
    answerer = LiveBench(bench, notebook, Guards([]), check_stop=stop.check)
    bench.channels = {"voltage.sense": lambda t: t if t < 5 else _requested(stop, t)}
    with pytest.raises(Interrupted, match="SIGTERM"):
        answerer.answer(Read(("voltage.sense",), count=100, period_s=1.0))
    assert notebook.readings[-1][3].value == 5.0


def test_a_closed_terminal_is_an_interruption_and_not_a_person_at_a_loss() -> None:
    """SIGHUP comes together with the end of the terminal's input."""
    bench = StandInBench({})
    stop = Stop()
    answerer = LiveBench(bench, Notebook(), Guards([]), check_stop=stop.check)
    assert bench.operator is not None
    instruct = bench.operator.instruct

    def hung_up(text: str) -> None:
        instruct(text)
        stop.requested_by = "SIGHUP"

    bench.operator.instruct = hung_up  # type: ignore[method-assign]
    bench.operator.lost = True
    with pytest.raises(Interrupted, match="SIGHUP"):
        answerer.answer(Ask("Turn it up."))


def _requested(stop: Stop, at: float) -> float:
    stop.requested_by = "SIGTERM"
    return at


def test_signals_raise_the_flag_once_and_are_given_back() -> None:
    before = signal.getsignal(signal.SIGTERM)
    heard: list[int] = []
    with Stop(lambda: heard.append(1)) as stop:
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGTERM):
            signal.raise_signal(number)
        with pytest.raises(Interrupted, match="SIGTERM"):
            stop.check()
    assert heard == [1]
    assert signal.getsignal(signal.SIGTERM) == before


def test_a_remark_is_in_the_record() -> None:
    answerer, _, notebook = live({})
    answerer.answer(Note("fan noise", "warning"))
    assert notebook.events == [("remark", "warning", "fan noise")]


def test_the_load_is_set_and_its_answer_recorded() -> None:
    answerer, bench, notebook = live({})
    answerer.answer(Apply(LoadState("voltage", 12.0, on=True)))
    assert bench.load is not None
    assert bench.load.history == [("voltage", 12.0, True)]
    assert notebook.replies[0].read_back == {"mode": "voltage", "level": 12.0, "on": True}  # type: ignore[attr-defined]
