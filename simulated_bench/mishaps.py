"""What a fault of the unit or the room does to the parts and controls, as functions of them.

Each fault begins at its bench time and changes parts for good, or until it has lasted. Sags, surges
and doors are given to line and room when they begin, as functions of time from then on.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import log
from typing import Final, NamedTuple, TypeVar

from pydantic import BaseModel

from simulated_bench.controls import Controls
from simulated_bench.draw import Draws
from simulated_bench.heat import HeatNetwork
from simulated_bench.line import Line, LineEvent
from simulated_bench.parts import Parts
from simulated_bench.quantities import Uncertain
from simulated_bench.regulator import Regulator
from simulated_bench.room import Door
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.sense import Connection

INPUTS: Final = {
    "smoke": "smoke",
    "interlock opened": "interlock",
    "emergency stop": "emergency stop",
    "line failure": "line failure",
    "disk full": "disk full",
}
"""Faults that raise an input, and the input's name."""

CUTS_LINE: Final = frozenset({"emergency stop", "line failure"})
"""Inputs that stand for no voltage at the socket: an emergency stop opens the bench's contactor."""

RUNAWAY_LEAKAGE_A: Final = 0.06
"""Of drivers that heat themselves, at 25 °C (common practice, no source)."""

Drawn = TypeVar("Drawn", bound=BaseModel)

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
    return tuple(drawn_one(fault, draws, f"faults.{number}") for number, fault in enumerate(faults))


def drawn_one(fault: Drawn, draws: Draws, purpose: str) -> Drawn:
    """Return a table whose quantities are those of this bench."""
    return fault.model_copy(
        update={
            key: Uncertain(draws.value(f"{purpose}.{key}", value))
            for key, value in fault
            if isinstance(value, Uncertain)
        }
    )


def begun(state: State, fault: UnitFaultTable) -> State:
    """Return the state in which a fault has begun."""
    controls, raised = state.controls, state.raised
    if fault.what in INPUTS:
        raised = raised | {INPUTS[fault.what]}
    match fault.what:
        case "pass element short":
            controls = replace(controls, failure="short")
        case "pass element open":
            controls = replace(controls, failure="open")
        case "sense lead open":
            controls = replace(controls, sense=OPEN_SIDES[fault.side or "plus"])
        case _:
            pass
    return State(_worn(state.parts, fault), _fed(controls, raised), raised)


def _fed(controls: Controls, raised: frozenset[str]) -> Controls:
    """Return controls whose socket is live unless something has taken the line away."""
    return replace(controls, socket_live=not raised & CUTS_LINE)


def _worn(parts: Parts, fault: UnitFaultTable) -> Parts:
    """Return parts after a fault that parts have.

    The regulator's and the heat network's are beside it as `_unsound`, line and room as `_around`.
    """
    rectifier = parts.rectifier
    match fault.what:
        case "dead diode":
            return replace(parts, rectifier=replace(rectifier, half_wave=True))
        case "dried-out reservoir":
            left = rectifier.capacitance_f * _amount(fault.to)
            return replace(parts, rectifier=replace(rectifier, capacitance_f=left))
        case "reference leak":
            leaking = replace(
                parts.reference,
                leak=_amount(fault.by),
                leak_time_s=_amount(fault.over),
                leak_from_s=fault.begins_s,
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
        case "loose heatsink" | "thermal runaway":
            old = parts.heat.parts
            loose = replace(old, sink_ambient=old.sink_ambient * _amount(fault.to))
            if fault.what == "thermal runaway":
                regulator = replace(regulator, leakage_a=RUNAWAY_LEAKAGE_A)
            return replace(parts, heat=HeatNetwork(loose), regulator=regulator)
        case _:
            return _around(parts, fault)


def _around(parts: Parts, fault: UnitFaultTable) -> Parts:
    match fault.what:
        case "line surge" | "line sag":
            by = _amount(fault.by)
            change = by if fault.what == "line surge" else -by
            event = LineEvent(fault.begins_s, _amount(fault.lasts), change)
            return replace(parts, line=replace(parts.line, events=(*parts.line.events, event)))
        case "door opened":
            door = Door(fault.begins_s, _amount(fault.drop), _amount(fault.over))
            return replace(parts, room=replace(parts.room, doors=(*parts.room.doors, door)))
        case _:
            return parts


def ended(state: State, fault: UnitFaultTable, sense: Connection) -> State:
    """Return the state after a fault has lasted; `sense` is how the leads were connected."""
    parts, controls, raised = state
    match fault.what:
        case "sense lead open":
            controls = replace(controls, sense=sense)
        case "line sag" | "line surge":
            parts = replace(parts, line=_without(parts.line, fault.begins_s))
        case _:
            pass
    if fault.what in INPUTS:
        raised = raised - {INPUTS[fault.what]}
    return State(parts, _fed(controls, raised), raised)


def _without(line: Line, at_s: float) -> Line:
    """Return a line without the event that began at a time."""
    return replace(line, events=tuple(event for event in line.events if event.at_s != at_s))


def told(fault: UnitFaultTable) -> str:
    """Return a fault in words."""
    said: list[str] = [fault.what]
    if fault.side is not None:
        said.append(f"({fault.side})")
    if fault.shift is not None:
        said.append(f"by {fault.shift.nominal:+g} s")
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
