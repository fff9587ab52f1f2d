"""Guards on what follows from readings, on frozen meters, and where each bound comes from."""

import random
from pathlib import Path

import pytest
from stand_in_bench import Notebook, StandInBench

from drivers.errors import NoAnswer
from drivers.roles import Reading
from sequencer.documents.load import load_profile
from sequencer.documents.unit import Range
from sequencer.errors import GuardTripped
from sequencer.requests import Apply, Ask, LoadMode, LoadState, Read, Settle, SupplyState
from sequencer.run.bounds import guard_bounds, guards_of
from sequencer.run.frozen import FrozenWatch, most_alike
from sequencer.run.guard_bound import GuardBound
from sequencer.run.guards import Guards
from sequencer.run.live import LiveBench
from sequencer.run.operating_point import OperatingPoint

RANGE = Range.model_validate(
    {"name": "one", "voltage_from": "0 V", "voltage_to": "30 V", "unregulated": "42 V"}
)


def reading(channel: str, value: float, at: float, raw: str = "") -> Reading:
    return Reading(channel, value, raw or f"{value:.9E}", at, at)


def guards(*bounds: GuardBound) -> Guards:
    point = OperatingPoint(("voltage.sense",), ("current.shunt",), (RANGE,), 3.0)
    return Guards(bounds, point=point)


def both(voltage: float, current: float, at: float) -> list[Reading]:
    return [reading("voltage.sense", voltage, at), reading("current.shunt", current, at)]


def test_load_power_is_voltage_times_current() -> None:
    watch = guards(GuardBound("power.load", at_most=60.0, source="a test"))
    watch.check(both(30.0, 1.99, 0.0))
    with pytest.raises(GuardTripped, match=r"power\.load was 60\.3"):
        watch.check(both(30.0, 2.01, 1.0))


def test_the_units_heat_is_what_it_drops_between_reservoir_and_output() -> None:
    watch = guards(GuardBound("power.unit", at_most=80.0, source="a test"))
    watch.point.supply(SupplyState(voltage=30.0), 0.0)
    watch.check(both(30.0, 3.0, 0.0))  # (42 - 30) * 3 = 36 W
    with pytest.raises(GuardTripped, match=r"power\.unit was 123"):
        watch.check(both(1.0, 3.0, 1.0))  # (42 - 1) * 3 = 123 W


def test_an_output_above_its_setting_departs_but_not_while_a_knob_turns() -> None:
    watch = guards(GuardBound("departure.voltage", at_most=1.0, source="a test"))
    watch.point.supply(SupplyState(voltage=20.0), 0.0)
    watch.point.knob_moves = True
    watch.check(both(25.0, 0.0, 1.0))
    watch.point.knob_moves = False
    with pytest.raises(GuardTripped, match=r"departure\.voltage was 5"):
        watch.check(both(25.0, 0.0, 2.0))


def test_an_output_may_take_seconds_to_come_down_to_a_lower_setting() -> None:
    watch = guards(GuardBound("departure.voltage", at_most=1.0, source="a test"))
    watch.point.supply(SupplyState(voltage=30.0), 0.0)
    watch.point.supply(SupplyState(voltage=10.0), 100.0)
    watch.check(both(25.0, 0.0, 102.0))
    with pytest.raises(GuardTripped, match=r"departure\.voltage"):
        watch.check(both(25.0, 0.0, 111.0))


def test_a_load_that_takes_more_than_it_was_told_departs() -> None:
    watch = guards(GuardBound("departure.current", at_most=0.0, source="a test"))
    watch.point.load(LoadState("current", 1.0, on=True), 0.0)
    watch.check(both(30.0, 1.1, 0.0))
    with pytest.raises(GuardTripped, match=r"departure\.current"):
        watch.check(both(30.0, 1.2, 1.0))


MISSING = GuardBound("missing.current", at_most=0.0, source="a test")


def loaded(mode: LoadMode = "current", level: float = 3.0) -> Guards:
    watch = guards(MISSING)
    watch.point.supply(SupplyState(voltage=30.0), 0.0)
    watch.point.load(LoadState(mode, level, on=True), 0.0)
    return watch


def test_a_load_that_draws_nothing_from_an_output_that_stands_trips() -> None:
    watch = loaded()
    watch.check(both(30.0, 3.0, 1.0))
    watch.check(both(30.0, 1.6, 100.0))
    with pytest.raises(GuardTripped, match=r"missing\.current"):
        watch.check(both(30.0, 0.001, 101.0))


@pytest.mark.parametrize(
    ("volts", "amperes", "at"),
    [(0.1, 0.0, 100.0), (14.0, 1.4, 100.0), (30.0, 0.0, 1.0)],
    ids=["without line", "unit that gives way", "load that still rises"],
)
def test_current_that_is_missing_for_another_reason_does_not_trip(
    volts: float, amperes: float, at: float
) -> None:
    loaded().check(both(volts, amperes, at))


def test_a_load_that_does_not_pull_the_output_down_trips() -> None:
    watch = loaded("voltage", 15.0)
    watch.check(both(15.0, 3.3, 100.0))
    watch.check(both(15.0, 0.2, 101.0))  # a unit that folds back
    loaded("voltage", 29.9).check(both(30.0, 0.0, 100.0))
    with pytest.raises(GuardTripped, match=r"missing\.current"):
        watch.check(both(30.0, 0.001, 102.0))


def test_other_modes_and_a_load_that_is_off_miss_nothing() -> None:
    loaded("resistance", 15.0).check(both(30.0, 0.0, 100.0))
    watch = loaded()
    watch.point.load(LoadState("current", 0.0, on=False), 50.0)
    watch.check(both(30.0, 0.0, 100.0))


def test_the_last_state_s_current_does_not_count_for_the_next() -> None:
    watch = guards(GuardBound("departure.current", at_most=0.0, source="a test"))
    watch.point.load(LoadState("current", 3.0, on=True), 0.0)
    watch.check(both(30.0, 3.0, 0.0))
    watch.point.load(LoadState("current", 0.0, on=False), 1.0)
    watch.check([reading("voltage.sense", 30.0, 1.0)])


def test_time_on_power_begins_when_the_output_is_switched_on() -> None:
    watch = guards(GuardBound("time.on", at_most=100.0, source="a test"))
    watch.check(both(0.0, 0.0, 500.0))
    watch.point.supply(SupplyState(output=True), 500.0)
    watch.check(both(30.0, 0.0, 600.0))
    with pytest.raises(GuardTripped, match=r"time\.on was 101"):
        watch.check(both(30.0, 0.0, 601.0))


def test_a_raised_safety_input_trips() -> None:
    watch = guards(GuardBound("interlock.smoke", at_most=0.5, source="every safety input"))
    watch.check([reading("interlock.smoke", 0.0, 0.0)])
    with pytest.raises(GuardTripped, match=r"interlock\.smoke is raised"):
        watch.check([reading("interlock.smoke", 1.0, 1.0)])


def test_a_guarded_channel_that_is_no_longer_read_trips() -> None:
    watch = guards(GuardBound("temperature.heatsink", at_most=80.0, source="a test"))
    watch.check([reading("temperature.heatsink", 20.0, 0.0)])
    watch.check(both(30.0, 0.0, 20.0))
    with pytest.raises(GuardTripped, match="last read 40 s ago"):
        watch.check(both(30.0, 0.0, 40.0))


def test_a_meter_repeats_itself_by_chance_far_less_often_than_its_watch_allows() -> None:
    documents = load_profile("acceptance")
    most = most_alike(documents.bench)
    assert "current.load" not in most  # no noise is stated: nothing can be told
    draw = random.Random(1)  # noqa: S311 - no secret, but a fixed seed
    watch = FrozenWatch(most)
    quiet = 15e-6 / 3  # three times better than stated
    for number in range(100_000):
        value = round(30.0 + draw.gauss(0.0, quiet), 5)
        watch.check([reading("voltage.sense", value, number, f"{value:.5f}")])


def test_a_frozen_meter_trips_though_it_lies_within_its_bounds() -> None:
    most = most_alike(load_profile("acceptance").bench)
    watch = FrozenWatch(most)
    same = [reading("voltage.sense", 30.0, number) for number in range(most["voltage.sense"])]
    watch.check(same)
    with pytest.raises(GuardTripped, match="looks frozen"):
        watch.check(same[:1])


def test_each_bound_says_where_it_comes_from_and_the_tightest_wins(tmp_path: Path) -> None:
    profile = tmp_path / "tight.toml"
    profile.write_text(
        '[profile]\nname = "tight"\nunit = "w-17"\nbench = "simulated"\n'
        '[guards."temperature.heatsink"]\nat_most = "60 °C"\n'
        '[guards."power.load"]\nat_most = "100 W"\n'
        '[guards."time.on"]\nat_most = "2 h"\n'
        '[[trials]]\ntrial = "load_steps"\nvoltage = "30 V"\ncurrent = "3 A"\n'
    )
    bounds = {bound.channel: bound for bound in guard_bounds(load_profile(str(profile)))}
    heat = bounds["temperature.heatsink"]
    assert (heat.at_most, heat.origin("at_most")) == (60.0, "the profile")
    assert heat.origin("rate_at_most") == "the bench document"
    assert heat.origin("at_least") == ""
    assert bounds["power.load"].origin("at_most") == "the profile"
    assert bounds["time.on"].at_most == 7200.0
    sense = bounds["voltage.sense"]
    assert (sense.at_most, sense.origin("at_most")) == (35.0, "the bench document")
    assert bounds["voltage.load"].origin("at_most") == "the unit's ratings"
    assert bounds["current.shunt"].at_most <= 5.0
    assert guards_of(load_profile("acceptance")).channels


@pytest.mark.parametrize(
    "request_",
    [
        Read(("voltage.sense",), count=3, period_s=3600.0),
        Settle({"voltage.sense": 1e-9}, window_s=3600.0, period_s=600.0, limit_s=1e6),
        Ask("Wait for it.", limit_s=1e6),
    ],
)
def test_no_wait_settle_or_prompt_delays_a_guard_by_more_than_a_tick_and_a_query(
    request_: Read | Settle | Ask,
) -> None:
    bench = StandInBench(
        {"voltage.sense": lambda t: 30.0 + 1e-3 * t, "interlock.smoke": lambda t: float(t >= 77.0)}
    )
    bench.operator.deaf = True  # type: ignore[union-attr]
    watch = Guards([GuardBound("interlock.smoke", at_most=0.5, source="every safety input")])
    answerer = LiveBench(bench, Notebook(), watch)
    with pytest.raises(GuardTripped, match="raised"):
        answerer.answer(request_)
    assert 77.0 <= bench.clock.now() <= 77.0 + 1.0 + 2 * bench.reading_time_s


def test_guards_are_looked_at_before_a_lost_instrument_is_tried_again() -> None:
    bench = StandInBench({"voltage.sense": lambda _: 30.0, "temperature.heatsink": lambda _: 90.0})
    watch = Guards([GuardBound("temperature.heatsink", at_most=80.0, source="a test")])
    answerer = LiveBench(bench, Notebook(), watch)

    def fails_and_is_retried(*_: object, **__: object) -> None:
        bench.watcher(lambda channels: tuple(c for c in channels if c != "voltage.sense"))  # type: ignore[operator]
        raise NoAnswer(instrument="load", address="", found="no answer came in time")

    assert bench.load is not None
    bench.load.apply = fails_and_is_retried  # type: ignore[assignment,method-assign]
    with pytest.raises(GuardTripped, match=r"temperature\.heatsink"):
        answerer.answer(Apply(LoadState("current", 1.0, on=True)))
