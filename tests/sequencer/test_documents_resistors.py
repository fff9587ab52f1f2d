"""Resistors beside a load: how a current is shared, which ones are advised, what is refused."""

import re
from typing import Any

import pytest
from documents_made_up import BENCH, changed, mistakes
from hypothesis import given
from hypothesis import strategies as st

from sequencer.documents.bench import BenchDocument
from sequencer.documents.limit_resistors import Sweep, advice_for, for_sweep
from sequencer.documents.resistors import (
    USUAL_TOLERANCE,
    Resistor,
    Shared,
    advice,
    conductance,
    share,
)


def made(*ohms: float, tolerance: float = USUAL_TOLERANCE) -> tuple[Resistor, ...]:
    return tuple(
        Resistor.model_validate(
            {
                "resistance": f"{ohm:.6g} Ω",
                "power": "1 kW",
                "by": "hand",
                "tolerance": f"{100 * tolerance:.6g} %",
            }
        )
        for ohm in ohms
    )


@given(
    most=st.floats(0.2, 5.0),
    voltage=st.floats(1.0, 60.0),
    current=st.floats(0.1, 10.0),
    ohms=st.lists(st.floats(1.0, 200.0), max_size=4),
    off=st.floats(-1.0, 1.0),
)
def test_whatever_the_resistors_are_the_load_stays_within_its_reach(
    most: float, voltage: float, current: float, ohms: list[float], off: float
) -> None:
    resistors = made(*ohms)
    found = share(most, resistors, voltage, current)
    if found is None:
        assert current > most
        return
    # At any end of the tolerance the rest is the load's to take, once it is trimmed.
    beside = voltage * conductance(resistors, found.resistors, off)
    assert 0.0 <= current - beside <= most * (1 + 1e-12)
    middle = voltage * conductance(resistors, found.resistors)
    assert found.own + middle == pytest.approx(current)
    assert abs(beside - middle) <= found.unsure + 1e-12


@given(most=st.floats(0.3, 5.0), voltage=st.floats(3.0, 60.0), part=st.floats(0.0, 1.0))
def test_advised_resistors_do_for_every_current_up_to_the_one_wanted(
    most: float, voltage: float, part: float
) -> None:
    current = 1.9 * most
    found = advice(most, voltage, current)
    assert found is not None
    for ohm in (found.lowest * 1.001, found.highest * 0.999):
        resistors = made(*[ohm] * found.count)
        assert share(most, resistors, voltage, part * current) is not None
        assert share(most, resistors, voltage, current) is not None
        hottest = voltage**2 / (ohm * (1 - USUAL_TOLERANCE))
        assert hottest <= found.power * (1 + 1e-9)
        assert 2 * found.power == pytest.approx(found.rating)


def test_sixty_watts_of_load_and_thirty_volts() -> None:
    # By hand: 2 A of 3 A, the load takes 1.96 A: 1.04 A lack, 27.4 Ω that may be 5 % too high.
    found = advice(2.0, 30.0, 3.0)
    assert found is not None
    assert found.count == 1
    assert found.highest == pytest.approx(30.0 * 0.95 / 1.04)
    assert share(2.0, made(25.0), 30.0, 3.0) == Shared(
        pytest.approx(1.8), (1,), pytest.approx(0.06)
    )
    assert share(2.0, made(25.0), 30.0, 2.0) == Shared(2.0)
    assert share(2.0, made(50.0), 30.0, 3.0) is None


SHUNT = BENCH["channels"]["voltage.sense"] | {"shunt": "10 mΩ"}
WITH_SHUNT = changed(BENCH, "channels", "current.shunt", to=SHUNT)
ONE = {"resistance": "25 Ω", "power": "100 W", "by": "hand"}


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(BENCH, "load", "resistors", to=[ONE]),
            "load.resistors: found resistors whose current nothing measures, expected a channel "
            "that sees the whole current: current.shunt or current.panel",
        ),
        (
            changed(WITH_SHUNT, "load", "resistors", to=[ONE | {"switch": "sink"}]),
            "load.resistors[0].switch",
        ),
        (
            changed(WITH_SHUNT, "load", "resistors", to=[ONE | {"output": "101"}]),
            'load.resistors[0].output: found a output, expected output beside by = "switch", and '
            "only there",
        ),
        (
            changed(WITH_SHUNT, "load", "resistors", to=[ONE | {"resistance": "0 Ω"}]),
            "load.resistors[0].resistance",
        ),
    ],
)
def test_mistakes_are_told(data: dict[str, Any], line: str) -> None:
    assert any(found.startswith(line) for found in mistakes(BenchDocument, data))


SWEEP = Sweep(voltage=30.0, lowest=1.0, rated=3.0, most=3.6, most_anywhere=3.9)


@pytest.mark.parametrize(
    ("ohms", "chosen"),
    [
        ((25.0,), None),  # 1.14 A at least: the load would get 2.46 A, 74 W
        ((17.0,), (1,)),
        ((12.0,), None),  # 2.6 A at most: more than the end of the constant-voltage line
        ((25.0, 17.0), (2,)),
        ((30.0, 30.0), (1, 2)),
        ((), None),
    ],
)
def test_which_resistors_a_sweep_needs(
    ohms: tuple[float, ...], chosen: tuple[int, ...] | None
) -> None:
    assert for_sweep(made(*ohms), 5.0, 60.0, SWEEP) == chosen


def test_a_load_that_reaches_the_limit_alone_needs_none() -> None:
    assert for_sweep(made(17.0), 5.0, 150.0, SWEEP) == ()


def test_nothing_helps_a_load_that_cannot_take_the_short_current() -> None:
    assert for_sweep(made(17.0), 3.5, 150.0, SWEEP) is None  # resistors take nothing at 1 V
    assert advice_for(3.5, 150.0, SWEEP) == ""


@given(st.floats(52.0, 105.0), st.floats(0.001, 0.999))
def test_the_resistors_that_are_advised_do(power: float, part: float) -> None:
    words = advice_for(5.0, power, SWEEP)
    assert words
    count = 1 if words.startswith("a resistor") else int(words.split()[0])
    low, high = (float(text) for text in re.findall(r"([\d.]+) Ω", words)[:2])
    ohm = low * 1.005 + part * (high * 0.995 - low * 1.005)  # as they are rounded in the words
    if low * 1.005 < high * 0.995:
        assert for_sweep(made(*[ohm] * count), 5.0, power, SWEEP) is not None
