"""Whether a fitted rounded corner describes the measured points."""

import numpy as np

from sequencer.numerics.checks import Array
from sequencer.numerics.corner import distances
from sequencer.numerics.corner_fit import CornerFit
from sequencer.numerics.limit_figures import Quantity
from sequencer.numerics.measured_onset import along

#: Fewer residuals of one side than this show no order.
_LEAST = 8
#: Neighbouring residuals so alike, in standard deviations, happen once in a thousand by chance.
_ALIKE = 3.1
#: Stated uncertainties that have to be enlarged more than this do not belong to this curve.
_MOST_WIDENED = 2.0
#: The fit and the points may differ by this many of their common standard uncertainties.
_MOST_APART = 3.0
#: A fit that knows less than the bare points by this factor is the wrong curve.
_NO_GAIN = 2.0
_COMPARED = ("limit_current", "knee_current", "knee_onset", "short_current")


def why_not(
    fit: CornerFit,
    fitted: dict[str, Quantity],
    measured: dict[str, Quantity],
    current: Array,
    voltage: Array,
) -> str:
    """Return why the fitted corner is not to be trusted, "" where it describes the points.

    Parameters
    ----------
    fitted, measured
        The figures by the fit, and by the points alone.
    current, voltage
        Shape (n,), A and V, any order.

    Notes
    -----
    Residuals that are noise change sign from point to point: J. von Neumann, "Distribution of the
    ratio of the mean square successive difference to the variance", Ann. Math. Statist. 12 (1941)
    367. Here with mean 2 and variance 4(n − 2)/(n² − 1); between neighbours and between next
    neighbours, as both ways of a sweep may alternate.
    """
    if fit.widened > _MOST_WIDENED:
        return f"the points scatter {fit.widened:.2g} times more about it than stated"
    if _in_runs(fit, current, voltage):
        return "the points run on one side of it for long stretches"
    return _out_of_place(fitted, float(current.max())) or _apart(fitted, measured)


def _out_of_place(fitted: dict[str, Quantity], greatest: float) -> str:
    """Return what is impossible about the fitted figures, "" where nothing is."""
    knee, onset = fitted["knee_current"], fitted["knee_onset"]
    if onset.value > knee.value + knee.expanded:
        return "its onset lies above its knee"
    folds = fitted["short_current"].value < knee.value
    if not folds and knee.value > greatest + knee.expanded:
        return "its knee lies beyond the greatest measured current"
    return ""


def _apart(fitted: dict[str, Quantity], measured: dict[str, Quantity]) -> str:
    """Return where the fit contradicts the points' own figures, "" where it does not."""
    for name in _COMPARED:
        if name not in fitted or name not in measured:
            continue
        ours, theirs = fitted[name], measured[name]
        apart = abs(ours.value - theirs.value)
        words = name.replace("_", " ")
        if apart > _MOST_APART * np.hypot(ours.u, theirs.u):
            return f"its {words} stands {apart:.2g} A from what the points say"
        if ours.u > _NO_GAIN * theirs.u:
            return f"it leaves the {words} more uncertain than the points do"
    return ""


def _in_runs(fit: CornerFit, current: Array, voltage: Array) -> bool:
    """Return whether neighbouring residuals are too alike for noise."""
    order = along(current, voltage)
    found = distances(fit.corner, current[order], voltage[order], fit.u_current, fit.u_voltage)
    for side in (found.in_current, ~found.in_current):
        rest = found.value[side]
        n = rest.size
        if n < _LEAST:
            continue
        rest = rest - rest.mean()
        square = float(rest @ rest)
        if not square > 0:
            continue
        sd = float(np.sqrt(4 * (n - 2) / (n**2 - 1)))
        for lag in (1, 2):
            steps = rest[lag:] - rest[:-lag]
            ratio = float(steps @ steps) / square * n / (n - lag)
            if ratio < 2 - _ALIKE * sd:
                return True
    return False
