"""Pure functions on arrays: straight lines, the knee, drift, pairs, settling, Allan deviation.

Usable alone, without bench, record or documents; SI units, one-dimensional float arrays. What can't
be computed honestly is refused with `sequencer.errors.FigureError`, in words that say what was
found, what was expected and what to do.

May import `sequencer.errors`, numpy and scipy; knows no document, no record, no instrument.
"""

from sequencer.numerics.allan import Allan, overlapping
from sequencer.numerics.ambient import TemperatureCoefficient, temperature_coefficient
from sequencer.numerics.decay import Decay, fit_decay
from sequencer.numerics.drift import Departures, Rate, departures, rate
from sequencer.numerics.effective import (
    Effective,
    autocorrelation,
    correlation_time,
    effective_number,
)
from sequencer.numerics.knee import LimitTrace, hysteresis, trace_limit
from sequencer.numerics.limit_figures import Quantity
from sequencer.numerics.line import StraightLine, fit_line, fit_line_both
from sequencer.numerics.line_known import line_with_covariance
from sequencer.numerics.maximum import Maximum, greatest_departure, greatest_span
from sequencer.numerics.minutes import MinuteMeans, minute_means
from sequencer.numerics.pace import Pace, pace
from sequencer.numerics.pairs import (
    LevelDifferences,
    bracketed_differences,
    drift_free_differences,
)
from sequencer.numerics.settling import SettlingTest, settled
from sequencer.numerics.warmup import WarmUp, warm_up_time

__all__ = [
    "Allan",
    "Decay",
    "Departures",
    "Effective",
    "LevelDifferences",
    "LimitTrace",
    "Maximum",
    "MinuteMeans",
    "Pace",
    "Quantity",
    "Rate",
    "SettlingTest",
    "StraightLine",
    "TemperatureCoefficient",
    "WarmUp",
    "autocorrelation",
    "bracketed_differences",
    "correlation_time",
    "departures",
    "drift_free_differences",
    "effective_number",
    "fit_decay",
    "fit_line",
    "fit_line_both",
    "greatest_departure",
    "greatest_span",
    "hysteresis",
    "line_with_covariance",
    "minute_means",
    "overlapping",
    "pace",
    "rate",
    "settled",
    "temperature_coefficient",
    "trace_limit",
    "warm_up_time",
]
