"""The operating point of supply, sense wiring, load wiring and load together.

The point is where the load draws just what the supply gives, ``h(y) = I_load − I = 0``, with the
`y` of `characteristic.py`. Without foldback `h` falls with `y` for every load that draws more at
more voltage: one solution, found by Newton's method kept inside a bracket. A limit that folds back
and a constant-power load leave several; `settling.py` then takes the one that the output capacitor
comes to.
"""

from math import log
from typing import Final, NamedTuple

from simulated_bench.characteristic import (
    Circuit,
    output_before_limit,
    reservoir_sag,
    reverse_current,
    supply,
)
from simulated_bench.errors import BenchError
from simulated_bench.load import draw_current
from simulated_bench.newton import converge
from simulated_bench.settling import settle, y_at_voltage

__all__ = ["Circuit", "OperatingPoint", "solve"]

BRACKET_MARGIN: Final = 5.0
UNSOLVED_A: Final = 1e-6
"""So much more than the tolerance can't be rounding."""

NOTHING_V: Final = 1e-7
"""Zero volts, found to the settling's tolerance."""


class OperatingPoint(NamedTuple):
    """A solved operating point."""

    y: float
    shunt_a: float
    """Current through the unit's own shunt, out of the plus terminal."""
    load_a: float
    lead_a: float
    """Current through the plus load lead."""
    return_a: float
    """Current through the minus load lead and the measuring shunt."""
    terminals_v: float
    sense_v: float
    """Between the sense points."""
    load_v: float
    input_v: float
    """Between the unit's sense inputs."""
    bleeder_a: float
    reservoir_v: float
    """Mean voltage of the reservoir."""
    ripple_v: float
    """Peak-to-peak ripple of the reservoir."""
    headroom_v: float
    """Valley minus saturation minus what is asked; negative in dropout."""


def solve(
    circuit: Circuit,
    start: float | None = None,
    standing_v: float | None = None,
    start_a: float | None = None,
) -> OperatingPoint:
    """Return the operating point.

    Parameters
    ----------
    circuit
        Supply, wiring and load.
    start
        The `y` of a moment ago, when nothing but time has passed.
    standing_v
        The output's voltage when a control has just been moved; it goes before the start. With
        neither the output stands at its set voltage and the load is put on.
    start_a
        The shunt's current at `start`; it saves a round, the point is the same without.

    Raises
    ------
    BenchError
        If no balance was found: no point is better than a wrong one.
    """
    c = circuit
    if _empty(c) and output_before_limit(c, 0.0)[0] < NOTHING_V:
        return _nothing(c)
    asked = c.v_cv + 1.0
    low = (-c.limit_a - abs(c.limit_per_v) * (2.0 * asked)) / c.rounding_a - BRACKET_MARGIN
    if c.limit_per_v <= 0.0 and c.load.mode != "power":
        high = log((2.0 * asked) / c.rounding_v) + BRACKET_MARGIN
        y = _guess(c) if start is None else start
        if not low < y < high:
            y = _guess(c)
        if start_a is not None and y == start:
            current = start_a
        else:
            current = max(0.0, c.limit_a + c.limit_per_v * c.v_cv + c.rounding_a * min(y, 0.0))
        y, current, solved = converge(c, y, current, low, high)
    else:
        if standing_v is not None:
            begin = y_at_voltage(c, standing_v, low)
        else:
            unloaded = (-c.limit_a - c.limit_per_v * c.v_cv) / c.rounding_a - 1.0
            begin = unloaded if start is None else start
        near = standing_v is None and start is not None
        y, current, solved = settle(c, begin, low, near=near, start_a=start_a)
    point = _point(c, y, current)
    if point.terminals_v < NOTHING_V or point.load_v < 0.0:
        return _nothing(c)
    drawn, per_v = draw_current(c.load_parts, c.load, point.load_v)
    if not solved or not abs(drawn - point.load_a) <= UNSOLVED_A * (1.0 + abs(per_v)):
        raise BenchError(
            f"operating point: found no balance of supply and load (supply {point.load_a:.6g} A, "
            f"load {drawn:.6g} A at {point.load_v:.6g} V, {c.load.mode} {c.load.level:g}), "
            "expected one; please report the scenario and seed"
        )
    return point


def _empty(c: Circuit) -> bool:
    """Return whether the reservoir's valley leaves the pass element nothing without a load."""
    room, table = c.peak_v - c.saturation_v, c.sag
    if table is not None and room > c.sag_scale * table.bound_v + c.idle_a * table.bound_ohm:
        return False
    return room <= reservoir_sag(c, c.idle_a)[0]


def _guess(c: Circuit) -> float:
    """Return a `y` near the solution: constant voltage if the load allows, else the limit."""
    wanted, _ = draw_current(c.load_parts, c.load, c.v_cv)
    limit = c.limit_a + c.limit_per_v * c.v_cv
    if wanted < limit:
        return (wanted - limit) / c.rounding_a
    match c.load.mode:
        case "voltage":
            at_load = c.load.level
        case "resistance":
            at_load = c.load.level * limit
        case _:
            at_load = c.load_parts.on_resistance_ohm * limit
    return log(max(c.v_cv - at_load, c.rounding_v) / c.rounding_v)


def _point(c: Circuit, y: float, current: float) -> OperatingPoint:
    current, voltage, _, _ = supply(c, y, current)
    reverse = reverse_current(c, current, voltage)
    load_a = current - c.sense_a - 2.0 * reverse
    in_lead = load_a + reverse
    lift_p, _, drop_p, _ = c.pair.plus.at(in_lead)
    lift_m, _, drop_m, _ = c.pair.minus.at(in_lead)
    at_sense = voltage - drop_p - drop_m
    bleeder = voltage / c.bleeder_ohm
    from_reservoir = current + bleeder + c.leakage_a
    sag_v, _, ripple, _ = reservoir_sag(c, from_reservoir)
    reservoir = c.peak_v - sag_v + 0.5 * ripple
    asked = c.v_cv - c.output_ohm * current + lift_p + lift_m
    headroom = reservoir - 0.5 * ripple - c.saturation_v - c.saturation_ohm * current - asked
    # By position: this is made for every moment, and naming costs a microsecond.
    return OperatingPoint(
        y,
        current,
        load_a,
        drop_p / c.plus_lead_ohm,
        drop_m / c.minus_lead_ohm,
        voltage,
        at_sense,
        at_sense - c.residual_ohm * load_a,
        voltage - lift_p - lift_m,
        bleeder,
        reservoir,
        ripple,
        headroom,
    )


def _nothing(c: Circuit) -> OperatingPoint:
    """Return the point when nothing comes out: a pass element can't pull its output below zero."""
    y = log((c.v_cv + 1.0) / c.rounding_v)  # the limit has taken all: from zero volts it goes on
    sag_v, _, ripple, _ = reservoir_sag(c, c.leakage_a)
    reservoir = c.peak_v - sag_v + 0.5 * ripple
    headroom = reservoir - 0.5 * ripple - c.saturation_v - c.v_cv
    return OperatingPoint(
        y, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, max(reservoir, 0.0), ripple, headroom
    )
