"""How noisy one-minute means are by what the unit moves between readings."""

from dataclasses import dataclass, replace

import numpy as np

from sequencer.numerics.minutes import MinuteMeans
from sequencer.trials.stability import by_meter
from sequencer.uncertainty.accuracy import Accuracy

MISSED = (0.25, 1.0)
"""Which part of what the unit moves between readings is noise of their mean, as squares.

White noise all of it. Of flicker, whose density is h/f up to a frequency f, readings at the rate r
see in half the mean square of their steps h·(ln(f/r) + 2.41), and their mean misses, in the same
measure, h·(ln(f/r) + 0.58), the sum of h/f over the multiples of r up to f: a quarter where it ends
at r, three quarters where it ends at a hundred times r. Where it ends below r nothing is missed,
and hardly anything seen in the steps. By aliasing (Priestley, Spectral Analysis and Time Series,
7.1.1, from memory) and numerically, `test_trials_between_readings.py`.
"""


@dataclass(frozen=True, slots=True)
class Between:
    """Means, as noisy as what the unit moves between readings makes them.

    Attributes
    ----------
    likely
        With the meter's noise and the middle of what the readings may miss of the unit.
    least, most
        With the least and the most of that.
    """

    likely: MinuteMeans
    least: MinuteMeans
    most: MinuteMeans


def between_readings(minutes: MinuteMeans, accuracy: Accuracy) -> Between:
    """Return how noisy means may be whose readings scatter more than the meter alone does.

    What the unit moves between readings is noise of a mean as far as the readings miss it, and the
    unit's own as far as they follow: see `MISSED`.
    """
    own = by_meter(minutes, accuracy)
    rest = minutes.u**2 - own
    least, most = (replace(minutes, u=np.sqrt(own + part * rest)) for part in MISSED)
    likely = replace(minutes, u=np.sqrt(own + sum(MISSED) / 2.0 * rest))
    return Between(likely, least, most)
