"""Numbers as instruments write them: NR3, with the standard's overload and not-a-number."""

from math import isnan
from typing import Final

from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Word

OVERLOAD: Final = 9.9e37
NOT_A_NUMBER: Final = 9.91e37
"""SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5."""


def written(value: float) -> str:
    """Return a number as NR3 with nine digits after the point."""
    if isnan(value):
        return "9.91E+37"
    if abs(value) >= OVERLOAD:
        return "9.9E+37" if value > 0 else "-9.9E+37"
    return f"{value:+.9E}"


def within(value: float | Word | None, low: float, high: float, default: float, what: str) -> float:
    """Return a setting's value: a word resolved, a number checked, None the default.

    Raises
    ------
    ScpiError
        −222 outside low … high.
    """
    if value is None or value is Word.DEFAULT:
        return default
    if value is Word.MINIMUM:
        return low
    if value is Word.MAXIMUM:
        return high
    assert isinstance(value, float)  # noqa: S101  # every word was handled above
    if not low <= value <= high:
        raise ScpiError(-222, f"{what} {value:g}, allowed {low:g} to {high:g}")
    return value
