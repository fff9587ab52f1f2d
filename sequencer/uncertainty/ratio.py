"""What a meter's accuracy statement means for a ratio of two readings: the gain is gone."""

import math

from sequencer.errors import FigureError
from sequencer.results import Component
from sequencer.uncertainty.accuracy import offset_components, reading_components, wander_components
from sequencer.uncertainty.statement import Accuracy


def ratio_components(
    accuracy: Accuracy,
    over: float,
    under: float,
    *,
    lag_s: float,
    readings: int = 1,
    scatter: Component | None = None,
) -> list[Component]:
    """Return the components of `over`/`under`, both read by one meter in one range.

    Both currents flow through the same connections, so of the thermal EMF that the current makes
    only what is away from 1 in the ratio is left: for an EMF E that does not depend on the current
    E·(1 − r)/b, for one in proportion to it nothing.

    The gain (shunt, temperature's part of it) is common and cancels; an offset moves the ratio by
    what it is away from 1; noise and rounding are each reading's own.

    Parameters
    ----------
    over, under
        Values in the channel's unit.
    lag_s
        Time between the two, s: the meter's wander over it stays.
    readings
        Readings averaged at each of the two.
    scatter
        Type A component of the ratio itself; stands in place of the stated noise.

    Raises
    ------
    FigureError
        For a ratio over nothing.

    Notes
    -----
    For r = (a + o)/(b + o): ∂r/∂o = (1 − r)/b, ∂r/∂a = 1/b, ∂r/∂b = −r/b (JCGM 100, 5.1.3).
    """
    if under == 0:
        raise FigureError("ratio: found 0 as what is divided by, expected another value.")
    value = over / under
    own = math.hypot(1.0, value) / under
    return [
        *offset_components(accuracy, (1.0 - value) / under),
        *wander_components(
            accuracy,
            over,
            lag_s=lag_s,
            heating_change=min(abs(1.0 - value), 1.0),
            sensitivity=1.0 / under,
        ),
        *reading_components(accuracy, readings, scatter, own),
    ]
