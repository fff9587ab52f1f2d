"""Refuse arrays that no figure can honestly be computed from, in words a person can act on."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import FigureError

Array = NDArray[np.float64]
Values = Array | Sequence[float]


#: SCPI-1999 vol. 1, 7.2.1: 9.9E37 stands for infinity, 9.91E37 for not a number.
_MARKERS = 9.8e37


def numbers(values: Array) -> NDArray[np.bool_]:
    """Return which values are numbers, and not NaN, infinite or a marker for overload."""
    return np.isfinite(values) & (np.abs(values) < _MARKERS)


#: The square of a smaller number is no longer told from zero; no quantity of a bench is.
LEAST_SIZE = 1e-150


#: The weight of a smaller standard uncertainty, times values, may be no number any more.
LEAST_U = 1e-60


def as_numbers(name: str, values: Values) -> Array:
    """Return `values` as an array of floats, of any shape.

    Raises
    ------
    FigureError
        For text, complex numbers, truth values, rows of different lengths, or values masked as not
        to be used.
    """
    if np.ma.is_masked(values):
        raise FigureError(
            f"{name}: some values are masked, which is lost in computing. Take them out, and say "
            "so, before a figure is computed."
        )
    try:
        given = np.asarray(values)
        if given.dtype.kind not in "fiuO":
            raise TypeError  # noqa: TRY301  # as for any other that is no number
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise FigureError(
            f"{name}: found something that is no row of numbers, expected one number for each "
            "reading."
        ) from None


def series(name: str, values: Values, at_least: int = 1) -> Array:
    """Return `values` as a finite one-dimensional float array of at least `at_least` entries.

    Raises
    ------
    FigureError
        If the values are no numbers or have another shape, hold a NaN, an infinity or SCPI's
        markers for overload and not a number (a reading that overflowed or gave no number), or are
        too few.
    """
    array = as_numbers(name, values)
    if array.ndim != 1:
        raise FigureError(
            f"{name}: found an array of {array.ndim} dimensions, expected one row of numbers."
        )
    bad = np.flatnonzero(~numbers(array))
    if bad.size:
        raise FigureError(
            f"{name}: {bad.size} of {array.size} values are no finite number (first at position "
            f"{bad[0]}: {array[bad[0]]}). Expected measured numbers; an overload or a missing "
            "reading has to be taken out, and said, before a figure is computed."
        )
    if array.size < at_least:
        raise FigureError(
            f"{name}: found {array.size} values, expected at least {at_least}. Measure more points."
        )
    return array


def matching(name: str, values: Values, other_name: str, other: Array) -> Array:
    """Return `values` as a finite array as long as `other`.

    Raises
    ------
    FigureError
        If the lengths differ or a value is not finite.
    """
    array = series(name, values, 0)
    if array.size != other.size:
        raise FigureError(
            f"{name}: found {array.size} values beside {other.size} of {other_name}; expected one "
            "for each."
        )
    return array


#: Volts and amperes beyond this are no measurement: SCPI's overload markers begin at 9.9E37.
_OVERLOAD = 1e9


def measured(array: Array, name: str, unit: str) -> Array:
    """Return volts or amperes unchanged.

    Raises
    ------
    FigureError
        If one is an overload marker.
    """
    worst = float(np.abs(array).max(initial=0.0))
    if worst > _OVERLOAD:
        raise FigureError(
            f"{name}: found {worst:.3g} {unit}, which is a meter's overload marker. Take a range "
            "that holds the value, or take the point out, and say so."
        )
    return array


def rising_times(times: Values, at_least: int = 1, name: str = "times") -> Array:
    """Return `times` in seconds as a strictly rising array.

    Raises
    ------
    FigureError
        If times repeat or go back: the record was put together wrongly or the clock was stepped.
    """
    array = series(name, times, at_least)
    wrong = np.flatnonzero(np.diff(array) <= 0)
    if wrong.size:
        first = int(wrong[0])
        raise FigureError(
            f"{name}: {array[first + 1]:g} s follows {array[first]:g} s at position {first + 1}; "
            "expected times that rise. Sort the readings and take out repeated ones first."
        )
    return array


def deviations(name: str, values: Values | float, other_name: str, other: Array) -> Array:
    """Return standard uncertainties, one for each entry of `other`, all above zero.

    Raises
    ------
    FigureError
        If one is zero, negative or not finite: a weight would be infinite.
    """
    if np.ndim(values) == 0:
        array = np.full(other.size, _number(name, values))
        array = series(name, array, 0)
    else:
        array = matching(name, values, other_name, other)  # type: ignore[arg-type]
    if np.any(array <= 0):
        raise FigureError(
            f"{name}: found {float(array.min()):g}, expected standard uncertainties above zero. "
            "State at least the meter's resolution."
        )
    if np.any(array < LEAST_U):
        raise FigureError(
            f"{name}: found {float(array.min()):g}, too small to compute with. Expected standard "
            "uncertainties in SI units."
        )
    return array


def _number(name: str, value: object) -> float:
    """Return a number as a float.

    Raises
    ------
    FigureError
        If it is none: text, a list, nothing, true or false.
    """
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        raise FigureError(f"{name}: found {value!r:.60}, expected a number.")
    return float(value)


def not_negative(name: str, value: float) -> float:
    """Return a finite number not below zero.

    Raises
    ------
    FigureError
        If it is not.
    """
    number = _number(name, value)
    if not (np.isfinite(number) and 0.0 <= number < _MARKERS):
        raise FigureError(f"{name}: found {number:g}, expected a finite number not below zero.")
    return number


def positive(name: str, value: float) -> float:
    """Return a finite number above zero.

    Raises
    ------
    FigureError
        If it is not.
    """
    number = _number(name, value)
    if not (np.isfinite(number) and number > 0):
        raise FigureError(f"{name}: found {number:g}, expected a number above zero.")
    return number


#: Computing leaves this part of the values' size of what is exactly alike, or on one line.
EXACT = 1e-15

#: Differences below this part of the values' size are rounding of the numbers themselves.
_ROUNDING = 1e-14


def varying(name: str, array: Array) -> Array:
    """Return values unchanged.

    Raises
    ------
    FigureError
        If all are one and the same number: a meter that never changes its last digit is frozen or
        too coarse, and the scatter is unknown; or if they are so small that their squares are lost.
    """
    if array.size and 0.0 < float(np.ptp(array)) < LEAST_SIZE:
        raise FigureError(
            f"{name}: they differ by less than {LEAST_SIZE:g}, too little to compute with. "
            "Expected numbers in SI units."
        )
    if array.size and float(np.ptp(array)) <= _ROUNDING * float(np.abs(array).max()):
        raise FigureError(
            f"{name}: all {array.size} are {array[0]:g}; their scatter is unknown. State the "
            "resolution, or take readings with more digits."
        )
    return array
