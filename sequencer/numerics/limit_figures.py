"""The definitions of the current limit's figures, applied to a fitted corner or to two lines."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.corner import Corner, corner_from, parameters
from sequencer.numerics.corner_fit import CornerFit
from sequencer.numerics.line import StraightLine

#: The constant-voltage line is taken from no load to this share of the rated current.
LEVEL_SHARE = 0.8
#: The constant-current line is taken between these shares of the set voltage.
LIMIT_SHARES = (0.25, 0.75)
#: Points of the even rows over which the definitions' least-squares lines are taken: so many that
#: one more changes nothing, as few would weigh the ends of a bent curve more.
_ROW = 201
#: Step of the numerical derivatives in standard uncertainties of the parameters.
_STEP = 0.02
#: The corner lies within so many widths of the current rounding above its lowest voltage.
_CORNER_WIDTHS = 25.0
#: Coverage probability of an expanded uncertainty with k = 2 for a normal distribution.
_COVERAGE = 0.9545


@dataclass(frozen=True, slots=True)
class Quantity:
    """Value, standard uncertainty from the points' scatter, degrees of freedom.

    `per_sinking` is the change of the value per volt by which the output, in and beyond the corner,
    sinks against the constant-voltage line while the curve is traced (the unit warms). Multiply
    it with a bound for that and put it into the budget.
    """

    value: float
    u: float
    dof: float
    per_sinking: float = 0.0

    @property
    def expanded(self) -> float:
        """Return the expanded uncertainty U, 95.45 %, from the scatter alone."""
        return self.u * coverage(self.dof)


def coverage(dof: float) -> float:
    """Return Student's coverage factor for 95.45 % (JCGM 100, G.3)."""
    return float(special.stdtrit(max(dof, 1.0), (1 + _COVERAGE) / 2))


@dataclass(frozen=True, slots=True)
class LimitDefinition:
    """What the definitions need beside the curve: V, A, V, V."""

    set_voltage: float
    rated_current: float
    departure: float
    load_voltage: float


def from_fit(fit: CornerFit, definition: LimitDefinition) -> dict[str, Quantity]:
    """Return all figures from a fitted corner, with its covariance propagated to each.

    Raises
    ------
    FigureError
        If the fitted curve has no constant-voltage side up to the stated share of rated current.

    Notes
    -----
    First-order propagation with numerical derivatives (JCGM 100, 5.2.2).
    """
    theta = parameters(fit.corner)
    values = _figures(fit.corner, definition)
    steps = _STEP * np.sqrt(np.diag(fit.covariance))
    derivatives: dict[str, Array] = {name: np.zeros(theta.size) for name in values}
    for index, step in enumerate(steps):
        shift = np.zeros(theta.size)
        shift[index] = step
        up = _figures(corner_from(theta + shift), definition)
        down = _figures(corner_from(theta - shift), definition)
        for name in values:
            derivatives[name][index] = (up[name] - down[name]) / (2 * step)
    return {
        name: Quantity(
            value=values[name],
            u=float(np.sqrt(max(float(row @ fit.covariance @ row), 0.0))),
            dof=fit.dof,
            per_sinking=float(row @ fit.per_sinking),
        )
        for name, row in derivatives.items()
    }


def _figures(corner: Corner, definition: LimitDefinition) -> dict[str, float]:
    """Apply the definitions to a curve: lines over even rows, their crossing, the onset."""
    top = LEVEL_SHARE * definition.rated_current
    if float(corner.point(np.array(corner.top))[0]) <= top:
        raise FigureError(
            f"knee: the current limit lies below {top:.4g} A (80 % of the rated current), where "
            "the constant-voltage line should end. Turn the limit up, or state a lower rating."
        )
    row_i = np.linspace(0.0, top, _ROW)
    slope, start = np.polyfit(row_i, corner.voltage_at(row_i), 1)
    low, high = (share * definition.set_voltage for share in LIMIT_SHARES)
    row_v = np.linspace(low, high, _ROW)
    g, a = np.polyfit(row_v, corner.current_at(row_v), 1)
    knee_current = (a + g * start) / (1 - g * slope)
    knee_voltage = start + slope * knee_current
    onset = _onset(corner, float(start), float(slope), definition.departure)
    short = a + g * definition.load_voltage
    return {
        "limit_current": float(a + g * definition.set_voltage / 2),
        "knee_current": float(knee_current),
        "knee_voltage": float(knee_voltage),
        "knee_onset": onset,
        "knee_sharpness": float(onset / knee_current),
        "short_current": float(short),
        "limit_change": float(short - knee_current),
        "foldback_ratio": float(short / knee_current),
    }


def _onset(corner: Corner, start: float, slope: float, departure: float) -> float:
    """Return the current up to which the curve stays within `departure` of the line."""

    def off(s: Array) -> Array:
        current, volts = corner.point(s)
        return start + slope * current - volts

    def beyond(s: float) -> float:
        return float(off(np.array(s))) - departure

    # From no load to the output pulled down to nothing; the corner itself gets most of the steps.
    low = float((0.0 - corner.a - corner.g * corner.v0) / corner.i_w)
    high = float(np.log(max(corner.v0, 1e-3)))
    bend = min(max(low, high - _CORNER_WIDTHS), high)
    scan = np.concatenate([np.linspace(low, bend, _ROW), np.linspace(bend, high, _ROW)])
    outside = np.abs(off(scan)) > departure
    first = int(np.argmax(outside))
    if not outside[first]:
        raise FigureError("knee onset: the fitted curve never leaves its constant-voltage line.")
    if first == 0 or not beyond(scan[first]) > 0 >= beyond(scan[first - 1]):
        raise FigureError(
            "knee onset: the fitted corner is so round that the output is never within "
            f"{departure * 1e3:.3g} mV of a straight line up to 80 % of the rated current."
        )
    at = float(optimize.brentq(beyond, scan[first - 1], scan[first], xtol=1e-12))
    return float(corner.point(np.array(min(at, corner.top)))[0])


def from_lines(
    level: StraightLine, limit: StraightLine, definition: LimitDefinition
) -> dict[str, Quantity]:
    """Return what two independent straight lines say: limit, knee, short current, change."""
    knee, volts = crossing(level, limit)
    half, near = definition.set_voltage / 2, definition.load_voltage
    change = near - volts.value
    return {
        "limit_current": Quantity(limit.at(half), limit.u_at(half), limit.dof),
        "knee_current": knee,
        "knee_voltage": volts,
        "short_current": Quantity(limit.at(near), limit.u_at(near), limit.dof),
        "limit_change": Quantity(
            limit.slope * change,
            float(np.hypot(change * limit.u_slope, limit.slope * volts.u)),
            limit.dof,
        ),
    }


def crossing(level: StraightLine, limit: StraightLine) -> tuple[Quantity, Quantity]:
    """Return current and voltage where a line V(I) and an independent line I(V) cross.

    Parameters
    ----------
    level
        Constant-voltage line, V against I.
    limit
        Constant-current line, I against V.

    Raises
    ------
    FigureError
        If the lines are parallel.

    Notes
    -----
    I = (a + g·v0)/(1 − g·m) for V = v0 + m·I and I = a + g·V; first-order propagation with the
    covariance within each line (JCGM 100, 5.2.2), degrees of freedom by Welch–Satterthwaite.
    """
    m, g = level.slope, limit.slope
    below = 1 - m * g
    if abs(below) < 1e-9:
        raise FigureError("knee: the two lines are parallel and do not cross.")
    current = (limit.intercept + g * level.intercept) / below
    volts = level.intercept + m * current
    # dI = (u at crossing of the limit line + g times that of the level line) / (1 − m·g)
    from_limit, from_level = limit.u_at(volts), level.u_at(current)
    parts_i = ((from_limit / below, limit.dof), (g * from_level / below, level.dof))
    parts_v = ((from_level / below, level.dof), (m * from_limit / below, limit.dof))
    return pooled(current, parts_i), pooled(volts, parts_v)


def pooled(value: float, parts: Sequence[tuple[float, float]]) -> Quantity:
    """Return a quantity from independent (contribution, degrees of freedom) pairs."""
    variance = float(sum(part**2 for part, _ in parts))
    below = sum(part**4 / dof for part, dof in parts)
    return Quantity(
        value=float(value),
        u=float(np.sqrt(variance)),
        dof=float(variance**2 / below) if below > 0 else float("inf"),
    )
