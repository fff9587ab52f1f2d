"""Whether two results of one quantity agree."""

import math

from sequencer.errors import FigureError

#: Two results agree when their E_n number is at most this (ISO/IEC 17043).
AGREED = 1.0


def agreement_number(first: float, first_u: float, second: float, second_u: float) -> float:
    """Return E_n of two results with expanded uncertainties; they agree when |E_n| ≤ 1.

    Parameters
    ----------
    first, second
        Values in one unit.
    first_u, second_u
        Expanded uncertainties U (k = 2 or for 95.45 %), same unit.

    Raises
    ------
    FigureError
        If both uncertainties are zero, one is negative, or a number is not finite.

    Notes
    -----
    ISO/IEC 17043, annex B: E_n = (x₁ − x₂)/√(U₁² + U₂²). It holds for independent results: two
    meters calibrated against one standard share that standard's error.
    """
    numbers = (first, first_u, second, second_u)
    if not all(math.isfinite(one) for one in numbers) or first_u < 0 or second_u < 0:
        raise FigureError(
            f"agreement: found {first:g} ± {first_u:g} and {second:g} ± {second_u:g}; expected "
            "finite numbers and uncertainties not below zero."
        )
    spread = math.hypot(first_u, second_u)
    if spread == 0:
        raise FigureError(
            "agreement: both results have no uncertainty; whether they agree can't be said."
        )
    return (first - second) / spread
