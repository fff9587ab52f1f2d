from math import sqrt
from statistics import fmean, stdev

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scpi_stand_in import StandInWorld, ask, error, table_top

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.meter_error import slow_change
from simulated_bench.scpi.device import Device

DAY_S = 86400.0
QUIET = {"noise": "0 V", "noise_low": "0 V"}


@pytest.fixture
def world() -> StandInWorld:
    return StandInWorld()


def reading(device: Device) -> float:
    return float(ask(device, "READ?"))


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize(("volts", "at_most"), [(30.0, 0.9e-3 + 0.4e-3), (0.0, 0.4e-3)])
def test_a_voltmeter_errs_within_its_statement(seed: int, volts: float, at_most: float) -> None:
    world = StandInWorld()
    world.volts = volts
    meter = table_top(world, seed, voltmeter_sense=dict(QUIET))["voltmeter_sense"].device
    emf_and_step = 2e-6 + 0.5e-5
    assert 0 < abs(reading(meter) - volts) <= at_most + emf_and_step


def test_seeds_give_different_meters_and_one_seed_the_same() -> None:
    seen = [reading(table_top(seed=seed)["voltmeter_sense"].device) for seed in (1, 1, 2)]
    assert seen[0] == seen[1] != seen[2]
    same = table_top(seed=1)
    assert reading(same["voltmeter_sense"].device) != reading(same["voltmeter_load"].device)


@pytest.mark.parametrize("aperture_s", [0.01, 0.1, 1.0])
def test_noise_falls_with_the_root_of_integration_time(aperture_s: float) -> None:
    world = StandInWorld()
    world.amperes = 3.0
    meter = table_top(world)["voltmeter_shunt"].device
    ask(meter, f"VOLT:RANG 0.1;APER {aperture_s}")
    count = 600
    spread = stdev(reading(meter) for _ in range(count))
    expected = 0.5e-6 * sqrt(0.1 / aperture_s)
    # Rounding to 0.1 µV adds step²/12; five standard deviations of a standard deviation.
    expected = sqrt(expected**2 + (1e-7) ** 2 / 12)
    assert spread == pytest.approx(expected, rel=5 / sqrt(2 * count))


@pytest.mark.parametrize(("volts", "answer"), [(1.3, "9.9E+37"), (-1.3, "-9.9E+37")])
def test_beyond_its_range_a_meter_says_overload(
    world: StandInWorld, volts: float, answer: str
) -> None:
    world.volts = volts
    meter = table_top(world)["voltmeter_sense"].device
    ask(meter, "VOLT:RANG 1")
    assert ask(meter, "READ?") == answer
    ask(meter, "VOLT:RANG 10")
    assert reading(meter) == pytest.approx(volts, abs=1e-3)


def test_what_is_no_number_is_said_to_be_none(world: StandInWorld) -> None:
    world.volts = float("nan")
    assert ask(table_top(world)["voltmeter_sense"].device, "READ?") == "9.91E+37"


def test_a_device_error_sets_its_bit(world: StandInWorld) -> None:
    load = table_top(world)["load"].device
    ask(load, "*CLS;:FUNC VOLT;:INP ON")
    world.volts = 70.0
    ask(load, "VOLT 20")
    assert ask(load, "*ESR?") == "8"
    assert error(load) == -300


def test_the_smallest_range_that_holds_the_value_is_taken(world: StandInWorld) -> None:
    meter = table_top(world)["voltmeter_sense"].device
    for asked, taken in ((0.05, 0.1), (0.5, 1.0), (10, 10.0), (30, 40.0), (41, 400.0)):
        ask(meter, f"VOLT:RANG {asked}")
        assert float(ask(meter, "VOLT:RANG?")) == taken


def test_a_setting_makes_the_last_reading_stale(world: StandInWorld) -> None:
    meter = table_top(world)["voltmeter_sense"].device
    ask(meter, "INIT")
    first = ask(meter, "FETC?")
    assert ask(meter, "FETC?") == first
    ask(meter, "VOLT:RANG 400")
    assert ask(meter, "FETC?") == ""
    assert error(meter) == -230


def test_temperature_moves_gain_and_offset_within_their_coefficients(world: StandInWorld) -> None:
    meter = table_top(world, voltmeter_sense=dict(QUIET))["voltmeter_sense"].device
    at_22 = reading(meter)
    world.ambient = 25.0
    assert 0 < abs(reading(meter) - at_22) <= 3 * (30 * 3e-6 + 10e-6) + 1e-5


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10**6), st.floats(0, 5 * DAY_S))
def test_slow_change_starts_at_zero_and_stays_within_one(seed: int, at: float) -> None:
    change = slow_change(np.random.default_rng(seed))
    assert change.at(0.0) == 0.0
    assert abs(change.at(at)) <= 1.0
    assert abs(change.at(at + 1.0) - change.at(at)) < 1e-3  # smooth


def test_different_instruments_overlap_and_cost_the_slowest(world: StandInWorld) -> None:
    top = table_top(world)
    clock = top["clock"].device
    ask(top["voltmeter_sense"].device, "VOLT:APER 0.5")
    for name in ("voltmeter_sense", "voltmeter_load", "voltmeter_shunt"):
        ask(top[name].device, "READ?")
    assert world.now == 0.0
    assert float(ask(clock, "CLOC:TIME?")) == pytest.approx(0.51)


def test_an_instrument_asked_while_busy_first_ends(world: StandInWorld) -> None:
    meter = table_top(world)["voltmeter_sense"].device
    for _ in range(3):
        reading(meter)
    assert world.now == pytest.approx(2 * 0.11)


def test_a_setting_anywhere_lets_measurements_end(world: StandInWorld) -> None:
    top = table_top(world)
    reading(top["voltmeter_sense"].device)
    ask(top["load"].device, "CURR 1")
    assert world.now == pytest.approx(0.11)


def test_talking_about_errors_costs_no_time(world: StandInWorld) -> None:
    meter = table_top(world)["voltmeter_sense"].device
    reading(meter)
    ask(meter, "SYST:ERR?;*ESR?;*IDN?;*CLS")
    assert world.now == 0.0


def test_the_clock_goes_to_a_time_and_never_back(world: StandInWorld) -> None:
    clock = table_top(world)["clock"].device
    assert float(ask(clock, "CLOC:UNT? 100.25")) == 100.25
    assert float(ask(clock, "CLOC:UNT? 5")) == 100.25
    ask(clock, "CLOC:ADV 0.75 S")
    assert float(ask(clock, "CLOC:TIME?")) == 101.0
    ask(clock, "CLOC:ADV -1")
    assert error(clock) == -222


@pytest.mark.parametrize("seed", range(10))
def test_a_load_sets_and_reads_back_within_its_statement(seed: int) -> None:
    world = StandInWorld()
    load = table_top(world, seed)["load"].device
    ask(load, "FUNC CURR;:CURR 3;:INP ON")
    mode, level, on = world.load
    assert (mode, on) == ("current", True)
    assert 0 < abs(level - 3.0) <= 3.0 * 1e-3 + 5e-3
    seen = fmean(float(ask(load, "MEAS:CURR?")) for _ in range(100))
    assert abs(seen - level) <= 3.01 * 0.5e-3 + 3e-3 + 5 * 0.2e-3 / 10
    assert float(ask(load, "CURR?")) == 3.0
    assert float(ask(load, "MEAS:POW?")) == pytest.approx(90.0, rel=0.01)


def test_each_mode_keeps_its_own_level(world: StandInWorld) -> None:
    load = table_top(world)["load"].device
    ask(load, "CURR 1;VOLT 20;RES 10;POW 50")
    for word, level in (("CURR", 1.0), ("VOLT", 20.0), ("RES", 10.0), ("POW", 50.0)):
        ask(load, f"FUNC {word}")
        assert ask(load, "FUNC?") == word
        assert world.load[1] == pytest.approx(level, rel=0.01)


def test_settings_beyond_the_ratings_are_refused(world: StandInWorld) -> None:
    load = table_top(world)["load"].device
    for message in ("CURR 5.1", "VOLT 61", "POW 151", "RES 0.01", "CURR -1"):
        ask(load, message)
        assert error(load) == -222


@pytest.mark.parametrize(
    ("volts", "amperes", "bit"), [(70.0, 1.0, 1), (10.0, 6.0, 2), (50.0, 4.0, 8)]
)
def test_protection_trips_and_stays_tripped_until_cleared(
    world: StandInWorld, volts: float, amperes: float, bit: int
) -> None:
    top = table_top(world)
    load, clock = top["load"].device, top["clock"].device
    ask(load, "FUNC VOLT;:INP ON")
    world.volts, world.amperes = volts, amperes
    ask(clock, "CLOC:ADV 1")
    assert world.load[2] is False
    assert ask(load, "INP?;:INP:PROT:TRIP?") == "0;1"
    assert int(ask(load, "STAT:QUES:COND?")) & bit
    assert error(load) == -300
    ask(load, "INP ON")
    assert error(load) == -221
    assert ask(load, "INP?") == "0"
    world.volts, world.amperes = 30.0, 0.0
    ask(load, "INP:PROT:CLE;:INP ON")
    assert ask(load, "INP?") == "1"
    assert world.events[0].kind == "trip"


def test_a_thermometer_reads_both_inputs(world: StandInWorld) -> None:
    thermometer = table_top(world)["thermometer"].device
    heatsink, ambient = map(float, ask(thermometer, "MEAS:TEMP? (@101,102)").split(","))
    assert heatsink == pytest.approx(40.0, abs=0.6)
    assert ambient == pytest.approx(22.0, abs=0.6)


def test_the_person_is_shown_values_and_asked(world: StandInWorld) -> None:
    person = table_top(world)["person"].device
    ask(person, "OPER:SHOW 29.998,1")
    assert world.person.shown == [(29.998, True)]
    assert ask(person, "OPER:STAT?;REM?") == 'DONE;"said ""yes"""'


def test_a_wrong_table_is_refused_with_every_mistake() -> None:
    with pytest.raises(ScenarioError) as caught:
        table_top(load={"currant": "5 A"}, clock={"clients": 0}, scope={})
    for part in ("instruments.load.currant", "instruments.clock.clients", "instruments.scope"):
        assert part in str(caught.value)
