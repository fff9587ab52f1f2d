"""A hand-held meter: only the person reads it, with its own errors, steps and overload."""

import numpy as np
import pytest
from scpi_stand_in import ask

from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.scenario import load
from simulated_bench.scpi.device import Device
from simulated_bench.world import World

GAIN, DIGITS, STEP_V = 3e-4, 5, 1e-3


def table(seed: int, **changed: str) -> dict[str, Placed]:
    scenario = load("hand-held")
    raw = {**scenario.instruments["handheld"], **changed}
    tables = read_tables({**scenario.instruments, "handheld": raw}, "hand-held")
    return place(World(scenario, seed), tables, seed)


def on(placed: dict[str, Placed]) -> None:
    for sentence in ("Switch the output on.", "Set the output voltage to 30.000 V."):
        ask(placed["person"].device, f'OPERator:INSTruct "{sentence}"')
        ask(placed["clock"].device, "CLOCk:ADVance 30")


def typed(placed: dict[str, Placed]) -> str:
    person: Device = placed["person"].device
    ask(person, 'OPERator:READ:METer "handheld"')
    assert ask(person, "OPERator:STATe?") == "BUSY"
    ask(placed["clock"].device, "CLOCk:ADVance 30")
    assert ask(person, "OPERator:STATe?") == "DONE"
    return ask(person, "OPERator:TYPed?").strip('"')


def test_what_is_typed_is_the_true_voltage_within_the_meters_statement() -> None:
    off = []
    for seed in range(8):
        placed = table(seed)
        on(placed)
        text = typed(placed)
        assert text.endswith(" V")
        assert len(text.partition(".")[2].removesuffix(" V")) == 3
        true = float(ask(placed["voltmeter_sense"].device, "MEASure:VOLTage? 40"))
        off.append((float(text.removesuffix(" V")) - true) / (GAIN * true + (DIGITS + 1) * STEP_V))
    assert max(np.abs(off)) <= 1.0
    assert np.std(off) > 0.2  # each seed has a meter of its own


def test_more_than_its_counts_is_an_overload() -> None:
    placed = table(1, counts=6000, step="0.001")
    on(placed)
    assert typed(placed) == "OL"


def test_it_has_no_interface_and_other_meters_are_not_read_so() -> None:
    placed = table(1)
    assert ask(placed["handheld"].device, "MEASure:VOLTage?") == ""
    ask(placed["person"].device, 'OPERator:READ:METer "voltmeter_load"')
    assert ask(placed["person"].device, "SYSTem:ERRor?").startswith("-224")


@pytest.mark.parametrize("seed", [1, 2])
def test_a_mistake_puts_the_point_elsewhere(seed: int) -> None:
    scenario = load("hand-held")
    always = scenario.person.mistake.__class__(1.0)
    person = scenario.person.model_copy(update={"mistake": always})
    world = World(scenario.model_copy(update={"person": person}), seed)
    world.person.type_in("29.980 V")
    assert world.person.typed == "299.80 V"
