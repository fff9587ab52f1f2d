"""The settled test: slope and scatter over a window, instead of trust in a fixed wait."""

from dataclasses import dataclass

from sequencer.numerics.checks import Values, matching, positive, rising_times
from sequencer.numerics.line import fit_line

#: Fewer points than this in a window can look steady by chance.
LEAST_POINTS = 4
#: The window counts as filled when its readings span this share of it.
_FILLED = 0.8


@dataclass(frozen=True, slots=True)
class SettlingTest:
    """The result of one test, and in `why` the reason in words.

    `slope_per_s` in value unit per second and `scatter` (standard deviation about the fitted
    line) are NaN where too few readings stand in the window.
    """

    settled: bool
    slope_per_s: float
    scatter: float
    points: int
    why: str


def settled(times: Values, values: Values, tolerance: float, window_s: float) -> SettlingTest:
    """Test whether the last `window_s` seconds are steady.

    Steady: the fitted slope times the window, and the scatter about the fitted line, are both
    within `tolerance`.

    Parameters
    ----------
    times
        Shape (n,), seconds, rising.
    values
        Shape (n,), any unit.
    tolerance
        In the unit of the values, above zero.
    window_s
        Seconds, above zero.

    Raises
    ------
    FigureError
        For values that are not finite, times that do not rise, or a tolerance or window not above
        zero. Too few readings are no error: the answer is "not settled" with the reason.

    Examples
    --------
    >>> times = [0.0, 0.25, 0.5, 0.75, 1.0]
    >>> settled(times, [30.0, 30.0001, 30.0, 30.0001, 30.0], 1e-3, 1.0).settled
    True
    >>> settled(times, [29.0, 29.5, 29.8, 29.9, 30.0], 1e-3, 1.0).why
    'change over the window 0.96, scatter 0.159, not within 0.001'
    """
    t = rising_times(times)
    y = matching("values", values, "times", t)
    allowed = positive("settling tolerance", tolerance)
    window = positive("settling window", window_s)
    inside = t >= t[-1] - window * (1 + 1e-9)
    t, y = t[inside], y[inside]
    nan = float("nan")
    if t.size < LEAST_POINTS:
        why = f"{t.size} readings in the window of {window:g} s, expected {LEAST_POINTS}"
        return SettlingTest(False, nan, nan, int(t.size), why)
    if t[-1] - t[0] < _FILLED * window:
        why = f"readings span {t[-1] - t[0]:g} s of the window of {window:g} s"
        return SettlingTest(False, nan, nan, int(t.size), why)
    line = fit_line(t - t[-1], y, 1.0)  # equal weights: a meter with few digits may not scatter
    change = abs(line.slope) * window
    steady = bool(change <= allowed and line.residual_sd <= allowed)
    why = (
        f"change over the window {change:.3g}, scatter {line.residual_sd:.3g}, "
        f"{'within' if steady else 'not within'} {allowed:.3g}"
    )
    return SettlingTest(steady, line.slope, line.residual_sd, int(t.size), why)
