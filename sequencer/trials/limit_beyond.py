"""What a sweep has shown about a limit that lies beyond what a guard lets flow.

The guard ends the run at the first reading that crosses it, and no curve comes out. But where that
reading was taken settled, with the load holding the output within the span of the constant-current
line, so much did flow in limiting: a lower bound of `limit_current`. The limit is defined at half
the setting and was seen at another voltage, so the bound is taken a tenth lower; of a unit that
promises to fold back it says nothing.
"""

from collections.abc import Mapping

import numpy as np
from pydantic import BaseModel

from sequencer.documents.quantities import format_quantity
from sequencer.documents.unit import UnitDocument
from sequencer.errors import FigureError
from sequencer.record.read import Step
from sequencer.requests import Apply, LoadState
from sequencer.results import Figure
from sequencer.trials.trial import VOLTAGE, Evidence
from sequencer.uncertainty import accuracy as meter
from sequencer.uncertainty.figure import make_figure

SPAN = (0.25, 0.75)
"""The constant-current line's span, in parts of the set voltage (`limit_sweep`)."""

LESS_AT_HALF = 0.1
"""A limit that doesn't fold back differs by less than this between half the setting and the rest of
the span (common practice, no source)."""

HELD = 0.01
"""The output stands where the load should hold it, within 1 % of the setting."""

AT_REST = 3
"""So many readings in a row at one voltage: what the output's capacitor held has gone."""

STILL = 0.1
"""These lie within a tenth of `HELD` of each other."""


def beyond(settings: BaseModel, evidence: Evidence) -> Mapping[str, Figure]:
    """Return the current that certainly flowed in limiting when the run was ended.

    The figure's value is a lower bound of `limit_current`; empty where the sweep was not ended in a
    visit that shows one.
    """
    setting = float(getattr(settings, "voltage", 0.0))
    level = _level(evidence.steps)
    if level is None or folds_back(evidence.context.unit):
        return {}
    if not SPAN[0] - HELD <= level / setting <= SPAN[1] + HELD:
        return {}
    seen = _seen(evidence, level, HELD * setting)
    if seen is None:
        return {}
    value = (1.0 - LESS_AT_HALF) * seen
    before = evidence.points(region="voltage line")
    reached = {"current_to": seen} | ({"voltage": before[0].mean(VOLTAGE)} if before else {})
    note = (
        f"{format_quantity(seen, 'A', 4)} flowed with the output held at "
        f"{format_quantity(level, 'V', 4)}, where the run was ended. Even if it were "
        f"{100 * LESS_AT_HALF:.0f} % less at half the setting, the limit would be at least "
        f"{format_quantity(value, 'A', 4)}."
    )
    statement = evidence.context.accuracy(evidence.context.current)
    try:
        budget = meter.absolute(statement, value)
        figure = make_figure(
            evidence.trial, "limit_current", value, "A", budget, reached=reached, notes=(note,)
        )
    except FigureError:
        return {}  # without an uncertainty nothing is certain
    return {"limit_current": figure}


def folds_back(unit: UnitDocument) -> bool:
    """Tell whether a unit promises less current into a short than at its limit."""
    lowest = {one.judged_figure: one.bound.lower for one in unit.limits}
    highest = {one.judged_figure: one.bound.upper for one in unit.limits}
    if "foldback_ratio" in lowest:
        return True
    rated = unit.ratings.current
    least, most = lowest.get("limit_current"), highest.get("short_current")
    return most is not None and most.resolve(rated) < (least.resolve(rated) if least else rated)


def _level(steps: tuple[Step, ...]) -> float | None:
    """Return the voltage that the load was holding when the run was ended."""
    applied = [s.request.state for s in steps if isinstance(s.request, Apply)]
    match applied[-1:]:
        case [LoadState(mode="voltage", on=True, level=level)] if steps[-1].reply is None:
            return level
    return None


def _seen(evidence: Evidence, level: float, held: float) -> float | None:
    """Return the last current of a request that was cut off, if the output had come to rest."""
    last = evidence.steps[-1]
    found = [evidence.corrected(readings) for readings in (last.readings, last.watched)]
    name = evidence.context.current
    current = [r.value[name][-1] for r in found if name in r.value]
    when = [r.asked[name][-1] for r in found if name in r.value]
    if not current or not np.isfinite(current[-1]):
        return None
    times, voltage = found[0].asked.get(VOLTAGE), found[0].value.get(VOLTAGE)
    if times is None or voltage is None:
        return None
    before = voltage[times <= when[-1]][-AT_REST:]
    at_rest = before.size == AT_REST and np.all(np.abs(before - level) <= held)
    return float(current[-1]) if at_rest and np.ptp(before) <= held * STILL else None
