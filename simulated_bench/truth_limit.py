"""True figures of the current limit, at one unchanged state of heat.

constant-voltage line
    Least-squares line of V against I from no load to 80 % of the rated current.
constant-current line
    Least-squares line of I against V from 75 % to 25 % of the set voltage, points even in V, which
    is the voltage at the sense points as everywhere.
limit_current (A)
    The constant-current line at half the set voltage.
knee_current (A)
    Where both lines cross.
knee_onset (A), knee_sharpness (1)
    Greatest current at which V is still within `onset_departure` of the constant-voltage line;
    onset over knee.
short_current (A), limit_change (A), foldback_ratio (1)
    The constant-current line at `load_voltage`; that less knee_current; that over knee_current. A
    limit that folds back to nothing has a ratio of 0, one without foldback a little over 1.
limit_hysteresis (A, signed)
    The current that a constant-voltage load at half the set voltage finds when it comes from the
    short, less the current that it finds when it comes from the open output.
"""

from collections.abc import Callable
from typing import Final

import numpy as np

from simulated_bench.operating_point import OperatingPoint
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_state import Solver, solver
from simulated_bench.world import World

VOLTAGE_LINE: Final = tuple(0.004 * step for step in range(201))
"""Parts of the rated current, 0 to 80 %, that the constant-voltage line goes through."""

CURRENT_LINE: Final = tuple(0.25 + 0.0025 * step for step in range(201))
"""Parts of the set voltage, 25 to 75 %, that the constant-current line goes through.

So many that one more changes nothing: the curve is bent, and few points would weigh its ends more.
"""

SCAN: Final = 0.002
HALVINGS: Final = 60

DROPS: Final = 2
"""The drop hardly depends on the voltage, so the second step is exact to nanovolts."""


def limit(scenario: Scenario, world: World) -> dict[str, float]:
    """Return the figures of the limit by name, SI."""
    stated = scenario.stated
    wanted, rated = stated.voltage.nominal, stated.current.nominal
    at = solver(world)
    flat = [at("current", part * rated) for part in VOLTAGE_LINE]
    cv_slope, cv_offset = np.polyfit(
        [point.load_a for point in flat], [point.sense_v for point in flat], 1
    )
    steep = [_standing_at(at, part * wanted) for part in CURRENT_LINE]
    cc_slope, cc_offset = np.polyfit(
        [point.sense_v for point in steep], [point.load_a for point in steep], 1
    )
    # Both lines at once: the constant-current line at the constant-voltage line's own voltage.
    knee = float((cc_offset + cc_slope * cv_offset) / (1.0 - cc_slope * cv_slope))
    short = float(cc_offset + cc_slope * stated.load_voltage.nominal)

    def departure(current: float) -> float:
        point = at("current", current)
        return abs(point.sense_v - float(cv_offset + cv_slope * current))

    onset = _greatest_within(departure, stated.onset_departure.nominal, rated, knee)
    return {
        "limit_current": float(cc_offset + cc_slope * 0.5 * wanted),
        "knee_current": knee,
        "knee_onset": onset,
        "knee_sharpness": onset / knee,
        "short_current": short,
        "limit_change": short - knee,
        "foldback_ratio": short / knee,
        "limit_hysteresis": _hysteresis(world, wanted),
    }


def _standing_at(at: Solver, sense_v: float) -> OperatingPoint:
    """Return the point whose sense points stand at a voltage: the load's own is lower by a drop."""
    level = sense_v
    point = at("voltage", level)
    for _ in range(DROPS):
        level = max(level + sense_v - point.sense_v, 0.0)
        point = at("voltage", level)
    return point


def _hysteresis(world: World, wanted_v: float) -> float:
    down, back = (
        solver(world, standing_v=standing)("voltage", 0.5 * wanted_v).load_a
        for standing in (wanted_v, 0.0)
    )
    return back - down


def _greatest_within(
    departure: Callable[[float], float], allowed: float, rated: float, knee: float
) -> float:
    """Return the greatest current whose departure is allowed, found from above."""
    outside = 1.2 * max(rated, knee)
    inside = outside
    while inside > 0.0 and departure(inside) > allowed:
        outside, inside = inside, inside - SCAN * rated
    if inside <= 0.0 or outside == inside:
        return float("nan")
    for _ in range(HALVINGS):
        middle = 0.5 * (inside + outside)
        if departure(middle) > allowed:
            outside = middle
        else:
            inside = middle
    return inside
