"""A unit's promises against its own ratings: what is promised beyond them can't be measured.

Looked at when documents are checked, not when they are read, so that old records can be judged.
"""

from collections.abc import Iterator

from sequencer.documents.flaws import Flaw, as_mistakes
from sequencer.documents.quantities import format_quantity
from sequencer.documents.source import Source, parse_source
from sequencer.documents.unit import UnitDocument
from sequencer.errors import Mistake


def promise_mistakes(unit: UnitDocument, source: Source) -> tuple[Mistake, ...]:
    """Return each condition of a limit that lies above what the unit is rated for."""
    return as_mistakes(_beyond(unit), source.path, parse_source(source))


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
