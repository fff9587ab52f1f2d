"""The guards in a plan: each bound with where it comes from, and warnings about missing ones."""

from collections.abc import Iterable

from rich.table import Table

from sequencer.documents.guards import quantity_of
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.run.frozen import most_alike
from sequencer.run.guard_bound import GuardBound, unit_of

RATES = {"V": "V/s", "A": "A/s", "°C": "K/s", "W": "W/s", "s": "", "1": ""}
LONG_TRIALS = ("soak",)
"""Trials that heat a unit for hours."""


def add_guards(table: Table, bounds: Iterable[GuardBound]) -> Table:
    """Fill a table: one row per bound, so that each shows its own origin."""
    for bound in bounds:
        unit = unit_of(bound.channel)
        for word, value, shown, origin in (
            ("at least", bound.at_least, unit, bound.origin("at_least")),
            ("at most", bound.at_most, unit, bound.origin("at_most")),
            ("rises at most", bound.rate_at_most, RATES[unit], bound.origin("rate_at_most")),
        ):
            if origin:
                table.add_row(bound.channel, word, _shown(value, shown), origin)
    return table


def _shown(value: float, unit: str) -> str:
    return "not raised" if unit == "1" else format_quantity(value, unit, 4)


def guard_warnings(documents: Documents, bounds: Iterable[GuardBound]) -> tuple[str, ...]:
    """Return what the guards of a profile can't see."""
    found = []
    soaks = [e.trial for e in documents.profile.trials if e.trial in LONG_TRIALS]
    watched = {quantity_of(b.channel) for b in bounds}
    if soaks and "temperature" not in watched:
        found.append(
            f"No guard watches a temperature, though {', '.join(soaks)} heats the unit for hours: "
            "add a thermometer on the heatsink and a guard on it to the bench document."
        )
    told = most_alike(documents.bench)
    blind = [n for n, c in documents.bench.channels.items() if n not in told and c.unit != "1"]
    if blind:
        found.append(
            f"A meter that freezes would not be noticed on {', '.join(blind)}: the bench document "
            "states no noise for it, or a resolution too coarse for it."
        )
    return tuple(found)
