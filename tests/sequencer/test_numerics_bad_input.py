"""Every exported function against every kind of bad input: refused, or widened and said.

A number that comes out of a bad row must be a finite value with an uncertainty above zero (or a
plain "not settled", "not reached"), never NaN, never an uncertainty of zero, never a numpy warning.
"""

import math
import warnings
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from typing import Any

import numpy as np
import pytest

from sequencer import numerics as n
from sequencer.errors import FigureError

SIZE = 64
OVERLOAD = 9.9e37  # SCPI's marker, SCPI-1999 vol. 1, 7.2.1.5
RNG = np.random.default_rng(7)
TIMES = np.arange(SIZE, dtype=float) * 30.0
NOISE = 1e-4 * RNG.standard_normal(SIZE)
VOLTS = 30.0 + 1e-6 * TIMES + NOISE


def levels(size: int) -> "Row":
    return np.array([0.0, 3.0] * ((size - 1) // 2) + [0.0] * (1 + (size - 1) % 2))[:size]


LEVELS = levels(SIZE)
LOADED = VOLTS - 2e-3 * LEVELS
FALL = np.concatenate([np.geomspace(1e-3, 7, 30), np.linspace(7.5, 29.0, 25)])
AMPS = np.concatenate([np.linspace(0, 2.4, 9), 3.3 + 0.02 * np.log(FALL)])
CURVE = 30 - 2e-3 * AMPS - np.concatenate([np.zeros(9), FALL])
AMPS = AMPS + 1e-4 * RNG.standard_normal(SIZE)
CURVE = CURVE + 5e-5 * RNG.standard_normal(SIZE)

Row = np.ndarray[Any, np.dtype[np.float64]]
Call = Callable[[Row, Row], Any]

#: A good row of x (times, levels, amperes), one of y, and the function called with both.
FUNCTIONS: dict[str, tuple[Row, Row, Call]] = {
    "autocorrelation": (TIMES, VOLTS, lambda _, y: n.autocorrelation(y)),
    "bracketed_differences": (
        TIMES, LOADED, lambda x, y: n.bracketed_differences(x, levels(x.size), y, 0.0),
    ),
    "correlation_time": (TIMES, VOLTS, lambda _, y: n.correlation_time(y)),
    "departures": (TIMES, VOLTS, lambda x, y: n.departures(n.minute_means(x, y))),
    "drift_free_differences": (
        TIMES, LOADED, lambda x, y: n.drift_free_differences(x, levels(x.size), y, 0.0),
    ),
    "effective_number": (TIMES, VOLTS, lambda _, y: n.effective_number(y)),
    "fit_decay": (TIMES, 30 * np.exp(-TIMES / 300) + NOISE, n.fit_decay),
    "fit_line": (TIMES, VOLTS, n.fit_line),
    "fit_line_both": (TIMES, VOLTS, lambda x, y: n.fit_line_both(x, y, 0.1, 1e-4)),
    "greatest_departure": (TIMES, NOISE, lambda _, y: n.greatest_departure(y, 1e-4)),
    "greatest_span": (TIMES, NOISE, lambda _, y: n.greatest_span(y, 1e-4)),
    "hysteresis": (
        AMPS, CURVE,
        lambda x, y: n.hysteresis(x, y, AMPS, CURVE, set_voltage=30.0, least_scatter=1e-6),
    ),
    "line_with_covariance": (
        TIMES, VOLTS, lambda x, y: n.line_with_covariance(x, y, 1e-8 * np.eye(y.size)),
    ),
    "minute_means": (TIMES, VOLTS, n.minute_means),
    "overlapping": (TIMES, VOLTS, lambda _, y: n.overlapping(y, 30.0)),
    "pace": (
        TIMES,
        VOLTS,
        lambda x, y: n.pace((y, x), (VOLTS, TIMES + 1e4), (VOLTS + NOISE, 1.01 * TIMES + 1.2e4)),
    ),
    "rate": (TIMES, VOLTS, lambda x, y: n.rate(n.minute_means(x, y))),
    "settled": (TIMES, VOLTS, lambda x, y: n.settled(x, y, 1e-3, 600.0)),
    "temperature_coefficient": (
        TIMES,
        VOLTS,
        lambda x, y: n.temperature_coefficient(
            n.minute_means(x, y), n.minute_means(TIMES, 22 + np.sin(TIMES / 200) + NOISE)
        ),
    ),
    "trace_limit": (
        AMPS,
        CURVE,
        lambda x, y: n.trace_limit(
            x, y, set_voltage=30.0, rated_current=3.0, departure=8e-3, load_voltage=1.0
        ),
    ),
    "warm_up_time": (TIMES, VOLTS, lambda x, y: n.warm_up_time(x, y, 1e-3)),
}  # fmt: skip


def spoilt(row: Row, value: float) -> Row:
    copy = row.copy()
    copy[len(copy) // 2] = value
    return copy


def swapped(row: Row) -> Row:
    copy = row.copy()
    copy[[10, 11]] = copy[[11, 10]]
    return copy


def gap(row: Row) -> Row:
    return np.concatenate([row[:20], row[-20:]])


BAD: dict[str, Callable[[Row, Row], tuple[Row, Row]]] = {
    "nothing": lambda x, y: (x[:0], y[:0]),
    "one reading": lambda x, y: (x[:1], y[:1]),
    "two readings": lambda x, y: (x[:2], y[:2]),
    "three readings": lambda x, y: (x[:3], y[:3]),
    "another length": lambda x, y: (x, y[:-1]),
    "two dimensions": lambda x, y: (x, y.reshape(2, -1)),
    "constant": lambda x, y: (x, np.full_like(y, 30.0)),
    "NaN in y": lambda x, y: (x, spoilt(y, math.nan)),
    "NaN in x": lambda x, y: (spoilt(x, math.nan), y),
    "infinity": lambda x, y: (x, spoilt(y, math.inf)),
    "overload": lambda x, y: (x, spoilt(y, OVERLOAD)),
    "not a number marker": lambda x, y: (x, spoilt(y, 9.91e37)),
    "all NaN": lambda x, y: (x, np.full_like(y, math.nan)),
    "unsorted": lambda x, y: (swapped(x), y),
    "repeated": lambda x, y: (np.repeat(x[::2], 2), y),
    "gap": lambda x, y: (gap(x), gap(y)),
    "masked y": lambda x, y: (x, np.ma.array(y, mask=np.arange(y.size) == 5)),
    "masked x": lambda x, y: (np.ma.array(x, mask=np.arange(x.size) == 5), y),
    "truth values": lambda x, y: (x, y > np.median(y)),
    "text": lambda x, y: (x, y.astype(str)),
}

#: What each kind of input must come to, where it is not a refusal by all: by function.
NO_X = {
    "autocorrelation", "correlation_time", "effective_number", "greatest_departure",
    "greatest_span", "overlapping",
}  # fmt: skip
ANY_ORDER = {
    "fit_line", "fit_line_both", "hysteresis", "line_with_covariance", "pace", "trace_limit",
}  # fmt: skip
FROM_MEANS = {"departures", "minute_means", "rate", "temperature_coefficient"}
ALLOWED: dict[str, set[str]] = {
    # A row of times or levels is not looked at by those, so nothing in it is bad.
    "another length": NO_X,
    "NaN in x": NO_X,
    "masked x": NO_X,
    "unsorted": NO_X | ANY_ORDER,
    "repeated": NO_X | ANY_ORDER,
    "gap": {*NO_X, *(ANY_ORDER - {"pace"}), *FROM_MEANS, "fit_decay", "warm_up_time",
            "drift_free_differences", "bracketed_differences", "settled"},
    # A missing reading is left out of a minute's mean and said in its notes.
    "NaN in y": FROM_MEANS,
    "infinity": FROM_MEANS,
    "overload": FROM_MEANS,
    "not a number marker": FROM_MEANS,
    # A row with a stated uncertainty may be constant; a limit that is not there is said in words.
    "constant": {
        "trace_limit", "fit_line_both", "line_with_covariance", "greatest_departure",
        "greatest_span", "settled", "pace",
    },
    "one reading": {"settled", "greatest_departure"},
    "two readings": {"settled", "line_with_covariance", "greatest_departure", "greatest_span"},
    "three readings": {
        "departures",
        "minute_means",
        "warm_up_time","settled", "line_with_covariance", "greatest_departure", "greatest_span",
                       "fit_line", "fit_line_both", "overlapping"},
}  # fmt: skip
TOLD = {"NaN in y", "infinity", "overload", "not a number marker", "gap"}


def test_every_exported_function_is_looked_at() -> None:
    functions = {name for name in n.__all__ if name.islower()}
    assert functions == set(FUNCTIONS)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_good_rows_give_finite_numbers(name: str) -> None:
    x, y, call = FUNCTIONS[name]
    assert_honest(call(x, y))


@pytest.mark.parametrize("kind", BAD)
@pytest.mark.parametrize("name", FUNCTIONS)
def test_bad_rows_are_refused_or_widened(name: str, kind: str) -> None:
    x, y, call = FUNCTIONS[name]
    bad_x, bad_y = BAD[kind](x, y)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        if name not in ALLOWED.get(kind, set()):
            with pytest.raises(FigureError) as caught:
                call(bad_x, bad_y)
            assert len(str(caught.value)) > 30  # what was found and expected, not a bare word
            return
        found = call(bad_x, bad_y)
    assert_honest(found)
    if name == "minute_means" and kind in TOLD:
        assert found.notes


@pytest.mark.parametrize("u", [0.0, -1.0, math.nan, math.inf, "a", True, 1j, [1.0], {}])
@pytest.mark.parametrize(
    "call",
    [
        lambda u: n.fit_line(TIMES, VOLTS, u),
        lambda u: n.fit_line_both(TIMES, VOLTS, u, 1e-4),
        lambda u: n.fit_line_both(TIMES, VOLTS, 1.0, u),
        lambda u: n.drift_free_differences(TIMES, LEVELS, LOADED, 0.0, u_values=u),
        lambda u: n.settled(TIMES, VOLTS, u, 600.0),
        lambda u: n.settled(TIMES, VOLTS, 1e-3, u),
        lambda u: n.warm_up_time(TIMES, VOLTS, u),
        lambda u: n.overlapping(VOLTS, u),
        lambda u: n.minute_means(TIMES, VOLTS, u),
        lambda u: n.hysteresis(AMPS, CURVE, AMPS, CURVE, set_voltage=u),
        lambda u: n.trace_limit(
            AMPS, CURVE, set_voltage=30, rated_current=3, departure=u, load_voltage=1
        ),
        lambda u: n.trace_limit(
            AMPS, CURVE, set_voltage=u, rated_current=3, departure=8e-3, load_voltage=1
        ),
    ],
)
def test_uncertainties_and_settings_must_be_above_zero(
    call: Callable[[float], Any], u: float
) -> None:
    with pytest.raises(FigureError):
        call(u)


def assert_honest(found: Any) -> None:
    """No NaN, and no uncertainty of zero, unless the result says in words that there is nothing."""
    if not is_dataclass(found):
        assert np.all(np.isfinite(found))
        return
    content = asdict(found)  # type: ignore[arg-type]
    if content.get("settled") is False or content.get("reached") is False:
        return
    for key, value in _leaves(content):
        if isinstance(value, float) and not key.endswith("dof"):
            assert math.isfinite(value), key
            if key.startswith("u_") or key == "u":
                assert value >= 0.0, key
        if isinstance(value, np.ndarray) and value.dtype.kind == "f":
            assert not np.any(np.isnan(value)), key


def _leaves(content: Any, key: str = "") -> Any:
    if isinstance(content, dict):
        for name, value in content.items():
            yield from _leaves(value, str(name))
    else:
        yield key, content
