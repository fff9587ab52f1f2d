"""How a current limit moves while its curve is traced: at what rate, and how that rate changes."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, matching, series
from sequencer.numerics.limit_figures import Quantity, pooled
from sequencer.numerics.line import fit_line

#: Levels that were visited three times, below which a bend can't be told from scatter.
LEAST_LEVELS = 3
#: Way down and way back differ by more than chance beyond so many standard uncertainties.
SURELY = 3.0


@dataclass(frozen=True, slots=True)
class Pace:
    """The limit's current against time, as far as time alone moves it.

    Attributes
    ----------
    turning_s
        Time of the turn between the way down and the way back.
    rate
        A/s at the turn.
    bend
        A/s²: the current departs from that at the turn by rate·t + bend·t².
    """

    turning_s: float
    rate: float
    bend: Quantity

    def moved(self, time_s: Array, *, bend_off_by: float = 0.0) -> Array:
        """Return by how much (A) the limit has moved since the turn; shape as `time_s`."""
        since = time_s - self.turning_s
        return self.rate * since + (self.bend.value + bend_off_by) * since**2


def pace(
    search: tuple[Values, Values], down: tuple[Values, Values], back: tuple[Values, Values]
) -> Pace:
    """Return how the limit moved with time, from three visits to each of some levels.

    Both ways of a sweep have one middle, so their mean is free from a steady rate. What is left is
    how the rate changes (a unit's inside warms with delay): the levels at the limit that the search
    visited before tell it.

    Parameters
    ----------
    search, down, back
        Each current (A) and time (s). Shape (n,) of all six: the same levels in the same order, all
        well beyond the corner, where the current alone tells of the limit.

    Raises
    ------
    FigureError
        For values that are not finite, rows of unequal length, fewer than three levels, visits all
        equally far apart, or a search that does not lie before both ways. Also where the way back
        differs from the way down by more than time explains, as nobody knows then on which of them
        the search was.

    Notes
    -----
    Least squares in two steps: back − down = a + rate·(t_back − t_down); then, with the turn at
    t = 0 and h half the time between both ways, search − (down + back)/2 − rate·t =
    bend·(t² − h²). What is seen is weighed with what may be expected, 0 ± rate/T rectangular for a
    search that began T before the turn, by their variances, so that noise adds no more doubt than
    was there before. Common practice, no source.

    Examples
    --------
    A limit that sinks by 0.6 µA/s at the turn, and slower before it, read to 10 nA:

    >>> import numpy as np
    >>> level, half = np.array([3.40, 3.39, 3.38, 3.37]), np.array([5.0, 15.0, 25.0, 35.0])
    >>> def seen(t):
    ...     return (level - 0.6e-6 * t - 2e-9 * t**2).round(8), 300.0 + t
    >>> found = pace(seen(np.linspace(-140, -120, 4)), seen(-half), seen(half))
    >>> f"{found.rate * 1e6:.2f} µA/s, {found.bend.value * 1e9:.2f} nA/s²"
    '-0.60 µA/s, -2.00 nA/s²'
    """
    (first, at_first), (there, at_there), (again, at_again) = (
        _visit(name, *visit) for name, visit in (("search", search), ("down", down), ("back", back))
    )
    if not first.size == there.size == again.size:
        raise FigureError("pace: the three visits have different numbers of levels.")
    if first.size < LEAST_LEVELS:
        raise FigureError(
            f"pace: found {first.size} levels that were visited three times, expected at least "
            f"{LEAST_LEVELS}."
        )
    between = at_again - at_there
    line = fit_line(between, again - there)
    if abs(line.intercept) > SURELY * line.u_intercept:
        raise FigureError(
            f"pace: the way back differs by {line.intercept:.2g} A from the way down, more than "
            "time explains; nobody knows on which of both the search was."
        )
    turning = float(np.mean(at_again + at_there) / 2)
    since = at_first - turning
    lever = since**2 - (between / 2) ** 2
    if np.any(lever <= 0) or np.any(since >= 0):
        raise FigureError("pace: the search has to lie before the way down and the way back.")
    left = first - (there + again) / 2 - line.slope * since
    weight = float(lever @ lever)
    bend = float(lever @ left) / weight
    rest = left - bend * lever
    dof = first.size - 1
    own = float(np.sqrt(rest @ rest / dof / weight))
    of_rate = line.u_slope * abs(float(lever @ since)) / weight
    seen = pooled(bend, ((own, float(dof)), (of_rate, line.dof)))
    # The rate came about since the search began: it changed by no more than itself and its doubt.
    most = float(np.hypot(line.slope, line.u_slope)) / float(np.max(-since))
    return Pace(turning, line.slope, _weighed(seen, most / np.sqrt(3.0)))


def _weighed(seen: Quantity, expected: float) -> Quantity:
    """Weigh what was seen with 0 ± `expected`; the latter is known well."""
    total = seen.u**2 + expected**2
    if total <= 0.0:
        return seen
    share = expected**2 / total
    u_seen, u_expected = share * seen.u, (1.0 - share) * expected
    return pooled(share * seen.value, ((u_seen, seen.dof), (u_expected, np.inf)))


def _visit(name: str, current: Values, time: Values) -> tuple[Array, Array]:
    amperes = series(f"current, {name}", current, 0)
    return amperes, matching(f"times, {name}", time, "current", amperes)
