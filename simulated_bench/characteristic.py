"""The characteristics of supply and load that meet in the operating point.

One unknown ``y = (I − I_L(V))/i_w``, how far the limit transistor is turned on, describes the whole
characteristic without ever overflowing: constant voltage is ``y ≪ 0``, constant current ``y > 0``.
For a given `y` the supply's voltage and current follow, and with them what reaches the load. The
voltage falls as `y` grows as long as ``I_L′(V)·U′(I) < 1``, which `frame.py` sees to.
"""

from dataclasses import dataclass
from math import exp
from typing import Final

from simulated_bench.conduction import SagTable
from simulated_bench.load import LoadParts, LoadSetting, draw_current
from simulated_bench.regulator import clip_loss, exhausted
from simulated_bench.sense import SensePair

TOLERANCE_A: Final = 1e-10
SURE_A: Final = 1e-6
"""Of the output only the slope's change within a step this small is missed: below 0.1 µV."""

MOST_ROUNDS: Final = 200


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
    sag: SagTable | None = None
    """The reservoir's; without one it sags straight, by `source_ohm` and `ripple_ohm`."""
    sag_scale: float = 1.0
    """Line voltage over nominal, by which the table's voltages and currents are scaled."""
    drive_span_v: float = 0.0
    """Drop at which the limit transistor has taken the whole drive; 0: it never has."""


def output_before_limit(c: Circuit, current: float) -> tuple[float, float]:
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
    room = c.peak_v - c.saturation_v - c.saturation_ohm * current - asked
    table = c.sag
    if table is not None and room >= c.sag_scale * table.bound_v + drawn * table.bound_ohm:
        return asked, slope
    if table is None:
        valley_v, valley_ohm, ripple, ripple_ohm = reservoir_sag(c, drawn)
    else:  # the same without the call: in dropout this is most of the work
        valley_v, valley_ohm, ripple, ripple_ohm = table.values(drawn / c.sag_scale)
        valley_v *= c.sag_scale
        ripple *= c.sag_scale
    headroom = room - valley_v
    if headroom >= 0.0:
        return asked, slope
    loss, per_headroom = clip_loss(headroom, ripple)
    falls = valley_ohm + c.saturation_ohm + slope
    # A taller sawtooth loses less for the same headroom.
    taller = -0.5 if headroom <= -ripple else -headroom * headroom / (2.0 * ripple * ripple)
    return asked - loss, slope - per_headroom * falls - taller * ripple_ohm


def reservoir_sag(c: Circuit, drawn_a: float) -> tuple[float, float, float, float]:
    """Return how far the reservoir sags below its unloaded peak, in the order of `Sag`."""
    if c.sag is None:
        ohm = c.source_ohm + c.ripple_ohm
        return drawn_a * ohm, ohm, drawn_a * c.ripple_ohm, c.ripple_ohm
    scale = c.sag_scale
    valley_v, valley_ohm, ripple_v, ripple_ohm = c.sag.values(drawn_a / scale)
    return scale * valley_v, valley_ohm, scale * ripple_v, ripple_ohm


def supply(c: Circuit, y: float, current: float) -> tuple[float, float, float, float]:
    """Return the supply's current and voltage at `y`, and their slopes with `y`."""
    drop = c.rounding_v * exp(y)
    turned_on, per_y = (y, 1.0) if c.drive_span_v == 0.0 else exhausted(y, drop / c.drive_span_v)
    threshold = c.limit_a + c.rounding_a * turned_on
    per_v = c.limit_per_v
    for _ in range(MOST_ROUNDS):
        target, slope = output_before_limit(c, current)
        change = (threshold + per_v * (target - drop) - current) / (1.0 - per_v * slope)
        current += change
        target += slope * change
        size = abs(change)
        # The limit sees the output only through `per_v`.
        if size < TOLERANCE_A or (size < SURE_A and size * abs(per_v) < TOLERANCE_A):
            break
    rate = (c.rounding_a * per_y - per_v * drop) / (1.0 - per_v * slope)
    return current, target - drop, rate, slope * rate - drop


def reverse_current(c: Circuit, current: float, voltage: float) -> float:
    """Return the current in each reversed sense lead."""
    if c.reverse_s == 0.0:
        return 0.0
    lead = c.minus_lead_ohm
    over = voltage - c.pair.minus.clamp_v - lead * (current - c.sense_a)
    return max(0.0, c.reverse_s * over / (1.0 - lead * c.reverse_s))


def excess(c: Circuit, y: float, current: float) -> tuple[float, float, float, float, float]:
    """Return h(y), its slope, the current, and the slopes of voltage and current."""
    current, voltage, rate, fall = supply(c, y, current)
    reverse = reverse_current(c, current, voltage)
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
