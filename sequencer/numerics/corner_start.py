"""Robust starting values for the rounded corner, by linear regressions alone."""

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.corner import Corner
from sequencer.numerics.line import fit_line

#: Departures from the constant-voltage line this many noise widths deep carry the corner's shape;
#: their logarithm is known to a twentieth, or to a quarter where there are too few of these.
_CLEAR_OF_NOISE = (20.0, 4.0)
_LEAST_LEVEL = 3
_LEAST_BENT = 5
#: Equal weights: only slope, height and scatter are taken from the line.
_EQUAL = 1.0


def starting_values(
    current: Array, voltage: Array, level_up_to: float
) -> tuple[Corner, float, float]:
    """Return starting values and a first guess of the scatter of current and of voltage.

    A line through the constant-voltage side gives v0 and r; with these,
    I = a + g·V + i_w·ln(v0 − r·I − V) is linear in what is left.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V.
    level_up_to
        Current up to which points belong to the constant-voltage side, A.

    Raises
    ------
    FigureError
        If that side has too few points, or too few lie clearly below it.
    """
    level = (current <= level_up_to) & (voltage > voltage.max() / 2)
    if np.count_nonzero(level) < _LEAST_LEVEL:
        raise FigureError(
            f"corner: {np.count_nonzero(level)} points up to {level_up_to:.4g} A stand on the "
            f"constant-voltage side, expected at least {_LEAST_LEVEL}. Measure more of them."
        )
    flat = fit_line(current[level], voltage[level], _EQUAL)
    # A soft corner bends the upper part of this side; its lower half is straighter.
    low = level & (current <= level_up_to / 2)
    if np.count_nonzero(low) >= _LEAST_LEVEL:
        lower = fit_line(current[low], voltage[low], _EQUAL)
        flat = lower if lower.residual_sd < flat.residual_sd / 2 else flat
    fall = flat.at(0.0) + flat.slope * current - voltage
    noise = max(flat.residual_sd, 1e-6 * abs(flat.intercept))
    for clear in _CLEAR_OF_NOISE:
        bent = (fall > clear * noise) & (current > level_up_to / 4)
        if np.count_nonzero(bent) >= _LEAST_BENT:
            break
    if np.count_nonzero(bent) < _LEAST_BENT:
        raise FigureError(
            f"corner: only {np.count_nonzero(bent)} points lie clearly below the constant-voltage "
            f"line, expected at least {_LEAST_BENT}. The corner was not reached: let the load pull "
            "the output further down."
        )
    design = np.column_stack([np.ones(current.size), voltage, np.log(np.maximum(fall, 1e-12))])[
        bent
    ]
    solution, *_ = np.linalg.lstsq(design, current[bent], rcond=None)
    rest = current[bent] - design @ solution
    dof = rest.size - 3
    scatter = float(np.sqrt(rest @ rest / dof)) if dof > 0 else 0.0
    width = float(solution[2])
    if width <= 0:
        # A sharper corner than its points can show: as narrow as the points' own scatter.
        width = max(scatter, 1e-4 * level_up_to)
    return (
        Corner(flat.intercept, -flat.slope, float(solution[0]), float(solution[1]), width),
        scatter,
        flat.residual_sd,
    )
