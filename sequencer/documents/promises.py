"""A unit's promises against its own ratings: what is promised beyond them can't be measured.

And what a promise has to say so that it can be judged.

Looked at when documents are checked, not when they are read, so that old records can be judged.
"""

from collections.abc import Iterator

from sequencer.documents.figure_names import DRIFT_DEFINITIONS
from sequencer.documents.flaws import Flaw, as_mistakes
from sequencer.documents.quantities import format_quantity
from sequencer.documents.source import Source, parse_source
from sequencer.documents.unit import UnitDocument
from sequencer.errors import Mistake

DRIFTS = (*DRIFT_DEFINITIONS.values(), "drift_corrected")


def promise_mistakes(unit: UnitDocument, source: Source) -> tuple[Mistake, ...]:
    """Return each condition of a limit that lies above what the unit is rated for."""
    flaws = (*_beyond(unit), *_too_wide(unit), *_without_time(unit))
    return as_mistakes(flaws, source.path, parse_source(source))


def _too_wide(unit: UnitDocument) -> Iterator[Flaw]:
    """Find bounds above the unit's rated voltage, such as megavolts for millivolts."""
    most = unit.ratings.voltage
    for index, limit in enumerate(unit.limits):
        bounds = (one for one in limit.bound.resolve(most) if one is not None)
        worst = max(bounds, key=abs, default=0.0)
        if limit.unit == "V" and abs(worst) > most:
            yield Flaw(
                ("limits", index),
                f"a bound of {format_quantity(worst, 'V', 7)}",
                f"at most the unit's rated {format_quantity(most, 'V', 7)}: no voltage of it is "
                'off by more. "MV" are megavolts, "mV" millivolts',
            )


def _without_time(unit: UnitDocument) -> Iterator[Flaw]:
    """Find what is promised over or after a time without that time."""
    wanted = {
        "residual_voltage": 'how long after switching off it holds, such as "2 s": output_off is '
        "told by its `after`",
        **dict.fromkeys(DRIFTS, 'over how long it holds, such as "8 h"'),
    }
    for index, limit in enumerate(unit.limits):
        if limit.judged_figure in wanted and limit.condition.duration is None:
            path = ("limits", index, "condition", "duration")
            yield Flaw(path, "nothing", wanted[limit.judged_figure])


def _beyond(unit: UnitDocument) -> Iterator[Flaw]:
    rated = unit.ratings
    for index, limit in enumerate(unit.limits):
        condition = limit.condition
        for key, value, most, symbol in (
            ("voltage", condition.voltage, rated.voltage, "V"),
            ("load_voltage", condition.load_voltage, rated.voltage, "V"),
            ("current_from", condition.current_from, rated.current, "A"),
            ("current_to", condition.current_to, rated.current, "A"),
        ):
            if value is not None and value > most:
                yield Flaw(
                    ("limits", index, "condition", key),
                    f'"{format_quantity(value, symbol, 7)}"',
                    f"at most the unit's rated {format_quantity(most, symbol, 7)}: no trial goes "
                    "beyond it, so this promise could not be judged. Correct whichever is wrong",
                )
