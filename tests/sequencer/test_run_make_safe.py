"""Making safe: the order, the proof, and what is said when it can't be proven."""

import math

from stand_in_bench import StandInBench

from drivers.errors import InstrumentError
from sequencer.run.make_safe import make_safe


def bench_under_load() -> StandInBench:
    bench = StandInBench({})
    state = {"output": True}

    def heard(text: str) -> None:
        if text == "Switch the output off.":
            state["output"] = False

    assert bench.load is not None
    assert bench.operator is not None
    load = bench.load
    load.on = True
    bench.operator.on_hearing = heard
    bench.channels = {
        "current.shunt": lambda _: 3.0 if load.on else 0.001,
        "voltage.sense": lambda _: 30.0 if state["output"] else 0.01,
    }
    return bench


def safe(bench: StandInBench, *order: str) -> tuple[bool, str]:
    report = make_safe(
        bench,
        order,
        current_channels=("current.shunt",),
        voltage_channels=("voltage.sense",),
    )
    return report.verified, str(report)


def test_load_and_supply_are_off_and_proven_by_readings() -> None:
    verified, text = safe(bench_under_load(), "load", "supply")
    assert verified
    assert "current.shunt 0.001 A" in text
    assert "voltage.sense 0.01 V" in text


def test_everything_is_told_to_switch_off_before_anything_is_waited_for() -> None:
    bench = bench_under_load()
    bench.channels = {**bench.channels, "current.shunt": lambda _: 3.0}
    assert bench.operator is not None
    heard_at: list[float] = []
    bench.operator.on_hearing = lambda _: heard_at.append(bench.clock.now())
    assert not safe(bench, "load", "supply")[0]
    assert heard_at == [0.0]


def test_one_low_reading_proves_nothing() -> None:
    bench = bench_under_load()
    count = iter(range(10_000))
    bench.channels = {
        **bench.channels,
        "current.shunt": lambda _: 0.0 if next(count) % 3 == 0 else 3.0,
    }
    assert not safe(bench, "load")[0]


def test_a_role_that_nothing_can_switch_off_is_not_verified() -> None:
    verified, text = safe(bench_under_load(), "load", "thermometer")
    assert not verified
    assert "thermometer off: nothing that was reached can switch it off" in text


def test_a_load_that_stays_on_is_not_verified_but_the_supply_is_still_tried() -> None:
    bench = bench_under_load()
    assert bench.load is not None
    assert bench.operator is not None
    bench.load.stuck = True
    verified, text = safe(bench, "load", "supply")
    assert not verified
    assert "NOT VERIFIED" in text
    assert "does not confirm it (current.shunt 3 A)" in text
    assert bench.operator.heard == ["Switch the output off."]


def test_nobody_there_is_not_verified_and_says_what_a_person_should_do() -> None:
    bench = bench_under_load()
    assert bench.operator is not None
    bench.operator.deaf = True
    verified, text = safe(bench, "supply")
    assert not verified
    assert "Switch the unit off at the line yourself" in text


def test_a_failed_meter_is_not_verified_and_does_not_stop_the_rest() -> None:
    bench = bench_under_load()

    def broken(_: float) -> float:
        raise InstrumentError(instrument="meter", address="x", found="no answer")

    bench.channels = {**bench.channels, "current.shunt": broken}
    verified, text = safe(bench, "load", "supply")
    assert not verified
    assert "no answer" in text
    assert "voltage.sense 0.01" in text


def test_readings_that_are_no_numbers_prove_nothing() -> None:
    bench = bench_under_load()
    bench.channels = {**bench.channels, "current.shunt": lambda _: math.nan}
    assert not safe(bench, "load")[0]


def test_an_empty_order_is_never_called_verified() -> None:
    verified, text = safe(bench_under_load())
    assert not verified
    assert "nothing was declared" in text


def test_an_output_that_holds_charge_is_emptied_through_the_load() -> None:
    bench = bench_under_load()
    assert bench.load is not None
    load, charge = bench.load, {"volts": 30.0, "at": 0.0}

    def volts(now: float) -> float:
        falls = 10.0 if load.on else 1.5  # volts per second; without the load it takes a minute
        charge["volts"] = max(0.0, charge["volts"] - falls * (now - charge["at"]))
        charge["at"] = now
        return charge["volts"]

    bench.channels = {**bench.channels, "voltage.sense": volts}
    bench.channels["current.shunt"] = lambda _: 0.1 if load.on else 0.0
    verified, text = safe(bench, "load", "supply", "discharge")
    assert verified, text
    assert ("current", 0.1, True) in load.history
    assert not load.on
    assert bench.clock.now() < 12.0


def test_an_output_that_does_not_fall_is_not_emptied() -> None:
    """It is on, and a load would only hide that."""
    bench = bench_under_load()
    assert bench.load is not None
    assert bench.operator is not None
    bench.operator.deaf = True
    assert not safe(bench, "load", "supply", "discharge")[0]
    assert bench.load.history == []


def test_the_line_is_switched_off_by_a_person() -> None:
    bench = bench_under_load()
    assert bench.operator is not None
    assert safe(bench, "load", "supply", "line")[0]
    assert bench.operator.heard[-1] == "Switch the supply off at the line."
