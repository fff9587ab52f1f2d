"""What scatter between brackets says of the differences of levels: noise of readings, and wander.

May import `sequencer.numerics.checks` only.
"""

import numpy as np

from sequencer.numerics.checks import Array


def scatter_covariance(
    times: Array, spread: Array, to_levels: Array, values: Array, noise: float | None
) -> tuple[Array, float]:
    """Return the covariance of level differences by the scatter between their brackets, and dof.

    Parameters
    ----------
    times, values
        Shape (n,), of the visits.
    spread
        Shape (brackets, n): takes the values to what each bracket is off its level's mean.
    to_levels
        Shape (levels, n): takes the values to the differences.
    noise
        Standard uncertainty of one value by the scatter of its own readings; None where unknown:
        then all scatter counts as noise.

    Notes
    -----
    Noise of the readings is each visit's own, so that neighbouring brackets, which share visits to
    the reference, go up and down together. A unit's wander (flicker, a random walk) is followed by
    the references on either side, and what it leaves differs from bracket to bracket: taken as
    noise it would make the uncertainty of a slope up to a sixth too large. How large the scatter
    is, the brackets tell; which part of it is noise, the readings within the visits; the rest
    counts as a random walk in time, which for flicker is right to a few per cent as well (random
    numbers; `test_numerics_bracket_scatter.py`). Degrees of freedom: F. E. Satterthwaite,
    Biometrics Bulletin 2 (1946) 110.
    """
    walk = np.minimum.outer(times - times[0], times - times[0])
    as_noise, as_walk = spread @ spread.T, spread @ walk @ spread.T
    as_noise_trace, as_walk_trace = float(np.trace(as_noise)), float(np.trace(as_walk))
    squares = float(np.sum((spread @ values) ** 2))
    share = 1.0
    if noise is not None and squares > 0.0:
        share = min(noise**2 * as_noise_trace / squares, 1.0)
    noisy, wandering = share / as_noise_trace, (1.0 - share) / as_walk_trace
    gram = noisy * as_noise + wandering * as_walk
    dof = float(np.trace(gram)) ** 2 / float(np.sum(gram**2))
    of_noise, of_walk = to_levels @ to_levels.T, to_levels @ walk @ to_levels.T
    covariance: Array = squares * (noisy * of_noise + wandering * of_walk)
    return covariance, dof
