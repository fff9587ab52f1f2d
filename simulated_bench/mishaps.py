"""What a fault of the unit or the room does to the parts and controls, as functions of them.

Each fault begins at its bench time and changes parts for good, or until it has lasted. Sags, surges
and doors are known to line and room from the start, so that they are functions of time there.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import log
from typing import Final, NamedTuple

from simulated_bench.controls import Controls
from simulated_bench.draw import Draws
from simulated_bench.heat import HeatNetwork
from simulated_bench.line import LineEvent
from simulated_bench.parts import Parts
from simulated_bench.quantities import Uncertain
from simulated_bench.rectifier import RIPPLE_PART_FULL_WAVE, RIPPLE_PART_HALF_WAVE
from simulated_bench.regulator import Regulator
from simulated_bench.room import Door
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.sense import Connection

INTERLOCKS: Final = {"smoke": "smoke", "interlock opened": "interlock"}
"""Faults that raise an input, and the input's name."""

HALF_OUTPUT_V: Final = 15.0
LEAST_LIMIT_A: Final = 0.05
OSCILLATES_FROM: Final = 0.4
"""Part of the limit from which an unstable loop oscillates: as its gain rises with the current."""

OPEN_SIDES: Final[dict[str, Connection]] = {
    "plus": "plus open",
    "minus": "minus open",
    "both": "open",
}


class State(NamedTuple):
    """What a fault can reach."""

    parts: Parts
    controls: Controls
    raised: frozenset[str]
    """Safety inputs that are raised."""


def drawn(faults: Iterable[UnitFaultTable], draws: Draws) -> tuple[UnitFaultTable, ...]:
    """Return faults whose times and amounts are those of this bench."""
    return tuple(
        fault.model_copy(
            update={
                key: Uncertain(draws.value(f"faults.{number}.{key}", value))
                for key, value in fault
                if isinstance(value, Uncertain)
            }
        )
        for number, fault in enumerate(faults)
    )


def foreseen(parts: Parts, faults: Iterable[UnitFaultTable]) -> Parts:
    """Return parts whose line and room know the sags, surges and doors that will come."""
    line, room = parts.line, parts.room
    for fault in faults:
        at, by = fault.at.nominal, _amount(fault.by)
        match fault.what:
            case "line surge" | "line sag":
                change = by if fault.what == "line surge" else -by
                event = LineEvent(at, _amount(fault.lasts), change)
                line = replace(line, events=(*line.events, event))
            case "door opened":
                door = Door(at, _amount(fault.drop), _amount(fault.over))
                room = replace(room, doors=(*room.doors, door))
            case _:
                pass
    return replace(parts, line=line, room=room)


def begun(state: State, fault: UnitFaultTable) -> State:
    """Return the state in which a fault has begun."""
    controls, raised = state.controls, state.raised
    match fault.what:
        case "pass element short":
            controls = replace(controls, failure="short")
        case "pass element open":
            controls = replace(controls, failure="open")
        case "sense lead open":
            controls = replace(controls, sense=OPEN_SIDES[fault.side or "plus"])
        case "line failure":
            controls = replace(controls, socket_live=False)
        case "smoke" | "interlock opened":
            raised = raised | {INTERLOCKS[fault.what]}
        case _:
            pass
    return State(_worn(state.parts, fault), controls, raised)


def _worn(parts: Parts, fault: UnitFaultTable) -> Parts:
    """Return parts after a fault that parts have; line and room have known theirs from the start.

    The regulator's and the heat network's are beside it, as `_unsound`.
    """
    rectifier = parts.rectifier
    match fault.what:
        case "dead diode":
            halved = replace(rectifier, half_wave=True, ripple_part=RIPPLE_PART_HALF_WAVE)
            return replace(parts, rectifier=halved)
        case "dried-out reservoir":
            left = rectifier.capacitance_f * _amount(fault.to)
            part = RIPPLE_PART_HALF_WAVE if rectifier.half_wave else RIPPLE_PART_FULL_WAVE
            return replace(
                parts, rectifier=replace(rectifier, capacitance_f=left, ripple_part=part)
            )
        case "reference leak":
            leaking = replace(
                parts.reference,
                leak=_amount(fault.by),
                leak_time_s=_amount(fault.over),
                leak_from_s=fault.at.nominal,
            )
            return replace(parts, reference=leaking)
        case "trimmer jump":
            slip = parts.setting.slip_v + _amount(fault.step)
            return replace(parts, setting=replace(parts.setting, slip_v=slip))
        case _:
            return _unsound(parts, fault)


def _unsound(parts: Parts, fault: UnitFaultTable) -> Parts:
    regulator = parts.regulator
    match fault.what:
        case "leaky limit transistor":
            return replace(parts, regulator=_softened(regulator, _amount(fault.to)))
        case "oscillation":
            unstable = replace(
                regulator,
                oscillation_rms_v=_amount(fault.step),
                oscillation_from_a=OSCILLATES_FROM * regulator.limit_current_a,
            )
            return replace(parts, regulator=unstable)
        case "loose heatsink":
            old = parts.heat.parts
            loose = replace(old, sink_ambient=old.sink_ambient * _amount(fault.to))
            return replace(parts, heat=HeatNetwork(loose))
        case _:
            return parts


def ended(state: State, fault: UnitFaultTable, sense: Connection) -> State:
    """Return the state after a fault has lasted; `sense` is how the leads were connected."""
    parts, controls, raised = state
    match fault.what:
        case "sense lead open":
            controls = replace(controls, sense=sense)
        case "line failure":
            controls = replace(controls, socket_live=True)
        case "smoke" | "interlock opened":
            raised = raised - {INTERLOCKS[fault.what]}
        case _:
            pass
    return State(parts, controls, raised)


def told(fault: UnitFaultTable) -> str:
    """Return a fault in words."""
    said: list[str] = [fault.what]
    if fault.side is not None:
        said.append(f"({fault.side})")
    if fault.lasts is not None:
        said.append(f"for {fault.lasts.nominal:g} s")
    return " ".join(said)


def _softened(regulator: Regulator, factor: float) -> Regulator:
    """Return a regulator whose limit begins early and ends, at half the output, where it was."""
    rounding = regulator.rounding_current_a * factor
    folds = log(HALF_OUTPUT_V / regulator.rounding_voltage_v)
    lower = regulator.limit_current_a - (rounding - regulator.rounding_current_a) * folds
    return replace(
        regulator, rounding_current_a=rounding, limit_current_a=max(lower, LEAST_LIMIT_A)
    )


def _amount(value: Uncertain | None) -> float:
    return 0.0 if value is None else value.nominal
