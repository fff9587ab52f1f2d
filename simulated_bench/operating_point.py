"""The operating point of supply, sense wiring, load wiring and load together.

One unknown ``y = (I − I_L(V))/i_w``, how far the limit transistor is turned on, describes the whole
characteristic without ever overflowing: constant voltage is ``y ≪ 0``, constant current ``y > 0``.
For a given `y` the supply's voltage and current follow, and with them what reaches the load; the
point is where the load draws just that: ``h(y) = I_load(V_load(y)) − I(y) = 0``, solved by Newton's
method kept inside a bracket. `h` falls with `y` for every load that draws more at more voltage.
"""

from dataclasses import dataclass
from math import exp, log
from typing import NamedTuple

from simulated_bench.load import LoadParts, LoadSetting, draw_current
from simulated_bench.regulator import clip_loss, exhausted
from simulated_bench.sense import SensePair

TOLERANCE_V = 1e-10
TOLERANCE_A = 1e-10
SMALL = 3e-6
"""Volts or amperes whose square is below the tolerance."""
STIFF_V = 1e-3
"""The output moves by less than this per fold of the limit's current: constant voltage."""
MOST_ROUNDS = 200
PATIENCE = 30
"""Newton steps before plain halving, for characteristics with corners."""
BRACKET_MARGIN = 5.0


@dataclass(slots=True)
class Circuit:
    """Everything that fixes the operating point at one moment; SI units.

    The limit is ``limit_a + limit_per_v·V``. `reverse_s` is the conductance of a reversed sense
    lead (0 when not reversed). `idle_a` is what the reservoir gives besides the shunt's current.
    """

    v_cv: float
    output_ohm: float
    limit_a: float
    limit_per_v: float
    rounding_v: float
    rounding_a: float
    peak_v: float
    source_ohm: float
    ripple_ohm: float
    saturation_v: float
    idle_a: float
    leakage_a: float
    bleeder_ohm: float
    pair: SensePair
    plus_lead_ohm: float
    minus_lead_ohm: float
    reverse_s: float
    sense_a: float
    residual_ohm: float
    load: LoadSetting
    load_parts: LoadParts
    oscillation_from_a: float = 0.0
    oscillation_shift_v: float = 0.0
    saturation_ohm: float = 0.0
    """What the least drop over the pass element grows by with the shunt's current."""
    drive_span_v: float = 0.0
    """Drop at which the limit transistor has taken the whole drive; 0: it never has."""


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


def solve(circuit: Circuit, start: float | None = None) -> OperatingPoint:
    """Return the operating point, found from a starting `y` when one is given.

    The start also chooses the branch where a folding limit leaves several.
    """
    c = circuit
    asked = c.v_cv + 1.0
    low = (-c.limit_a - abs(c.limit_per_v) * (2.0 * asked)) / c.rounding_a - BRACKET_MARGIN
    high = log((2.0 * asked) / c.rounding_v) + BRACKET_MARGIN
    y = _guess(c) if start is None else start
    if not low < y < high:
        y = _guess(c)
    current = max(0.0, c.limit_a + c.limit_per_v * c.v_cv + c.rounding_a * min(y, 0.0))
    for rounds in range(MOST_ROUNDS):
        h, slope, current, step_v, step_a = _excess(c, y, current)
        if h > 0.0:
            low = y
        else:
            high = y
        following = y - h / slope if slope < 0.0 else 0.5 * (low + high)
        if rounds > PATIENCE or not low <= following <= high:
            following = 0.5 * (low + high)
        change = following - y
        y = following
        current += step_a * change
        by_v, by_a = abs(change * step_v), abs(change * step_a)
        if by_v < TOLERANCE_V and by_a < TOLERANCE_A:
            break
        # In constant voltage Newton's next error is of second order, far below the tolerance.
        # Elsewhere the step may have crossed a corner (the load's floor), and it is of first.
        if by_v < SMALL and by_a < SMALL and step_v > -STIFF_V:
            break
    return _point(c, y, current)


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


def _target(c: Circuit, current: float) -> tuple[float, float]:
    """Return U(I), the output before the limit acts, and its slope."""
    load_a = current - c.sense_a
    pair = c.pair
    if load_a < pair.clamps_from_a:
        lift, slope = pair.lift0 + pair.lift1 * load_a, pair.lift1
    else:
        lift, slope = pair.clamped_lift(load_a)
    asked = c.v_cv - c.output_ohm * current + lift
    slope -= c.output_ohm
    if c.oscillation_shift_v and current > c.oscillation_from_a:
        # Rectification goes with the square of the amplitude, hence straight with the excess.
        asked -= c.oscillation_shift_v * min(1.0, current / c.oscillation_from_a - 1.0)
    drawn = current + c.idle_a
    ripple = c.ripple_ohm * drawn
    headroom = c.peak_v - drawn * c.source_ohm - ripple - c.saturation_v - asked
    headroom -= c.saturation_ohm * current
    if headroom >= 0.0:
        return asked, slope
    loss, per_headroom = clip_loss(headroom, ripple)
    falls = c.source_ohm + c.ripple_ohm + c.saturation_ohm + slope
    # A taller sawtooth loses less for the same headroom.
    taller = -0.5 if headroom <= -ripple else -headroom * headroom / (2.0 * ripple * ripple)
    return asked - loss, slope - per_headroom * falls - taller * c.ripple_ohm


def _supply(c: Circuit, y: float, current: float) -> tuple[float, float, float, float]:
    """Return the supply's current and voltage at `y`, and their slopes with `y`."""
    drop = c.rounding_v * exp(y)
    turned_on, per_y = (y, 1.0) if c.drive_span_v == 0.0 else exhausted(y, drop / c.drive_span_v)
    threshold = c.limit_a + c.rounding_a * turned_on
    per_v = c.limit_per_v
    for _ in range(MOST_ROUNDS):
        target, slope = _target(c, current)
        change = (threshold + per_v * (target - drop) - current) / (1.0 - per_v * slope)
        current += change
        target += slope * change
        if abs(change) < TOLERANCE_A:
            break
    rate = (c.rounding_a * per_y - per_v * drop) / (1.0 - per_v * slope)
    return current, target - drop, rate, slope * rate - drop


def _reverse(c: Circuit, current: float, voltage: float) -> float:
    """Return the current in each reversed sense lead."""
    if c.reverse_s == 0.0:
        return 0.0
    lead = c.minus_lead_ohm
    over = voltage - c.pair.minus.clamp_v - lead * (current - c.sense_a)
    return max(0.0, c.reverse_s * over / (1.0 - lead * c.reverse_s))


def _excess(c: Circuit, y: float, current: float) -> tuple[float, float, float, float, float]:
    """Return h(y), its slope, the current, and the slopes of voltage and current."""
    current, voltage, rate, fall = _supply(c, y, current)
    reverse = _reverse(c, current, voltage)
    load_a = current - c.sense_a - 2.0 * reverse
    in_lead = load_a + reverse
    pair = c.pair
    if in_lead < pair.clamps_from_a:
        drop, drop_slope = pair.drop0 + pair.drop1 * in_lead, pair.drop1
    else:
        drop, drop_slope = pair.clamped_drop(in_lead)
    at_load = voltage - drop - c.residual_ohm * load_a
    drawn, per_volt = draw_current(c.load_parts, c.load, at_load)
    reverse_rate = c.reverse_s * fall
    load_rate = rate - 2.0 * reverse_rate
    fall_at_load = fall - (drop_slope + c.residual_ohm) * load_rate
    return drawn - load_a, per_volt * fall_at_load - load_rate, current, fall, rate


def _point(c: Circuit, y: float, current: float) -> OperatingPoint:
    current, voltage, _, _ = _supply(c, y, current)
    reverse = _reverse(c, current, voltage)
    load_a = current - c.sense_a - 2.0 * reverse
    in_lead = load_a + reverse
    lift_p, _, drop_p, _ = c.pair.plus.at(in_lead)
    lift_m, _, drop_m, _ = c.pair.minus.at(in_lead)
    at_sense = voltage - drop_p - drop_m
    bleeder = voltage / c.bleeder_ohm
    from_reservoir = current + bleeder + c.leakage_a
    ripple = c.ripple_ohm * from_reservoir
    reservoir = c.peak_v - from_reservoir * c.source_ohm - 0.5 * ripple
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
