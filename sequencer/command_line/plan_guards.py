"""The guards in a plan: each bound with where it comes from, and warnings about missing ones."""

from collections.abc import Iterable, Iterator

from rich.table import Table

from sequencer.documents.guards import quantity_of
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.run.frozen import most_alike
from sequencer.run.guard_bound import GuardBound, unit_of
from sequencer.run.operating_point import DRAWN_SHARE, LOAD_REST_A, LOAD_SHARE

RATES = {"V": "V/s", "A": "A/s", "°C": "K/s", "W": "W/s", "s": "", "1": ""}
LONG_TRIALS = ("soak",)
"""Trials that heat a unit for hours."""


def add_guards(table: Table, bounds: Iterable[GuardBound]) -> Table:
    """Fill a table: one row per bound, so that each shows its own origin."""
    for bound in bounds:
        for word, value, shown, origin in _bounds(bound):
            table.add_row(bound.channel, word, _shown(bound.channel, value, shown), origin)
    return table


def tightest_words(bounds: Iterable[GuardBound]) -> Iterator[str]:
    """Yield a line for each source of bounds; of all voltages and all currents the tightest."""
    joined: dict[str, list[GuardBound]] = {}
    for bound in bounds:
        quantity = quantity_of(bound.channel)
        joined.setdefault(quantity if quantity in JOINED else bound.channel, []).append(bound)
    told: dict[str, list[str]] = {}
    for found in joined.values():
        tight = min(found, key=lambda one: one.at_most)
        for bound in found:
            for word, value, unit, origin in _bounds(bound):
                if word == "at most" and bound is not tight:
                    continue
                said = told.setdefault(origin, [])
                known = any(one.startswith(f"{bound.channel} ") for one in said)
                said.append(
                    f"{'or' if known else bound.channel} "
                    + ("raised" if unit == "1" else f"{CROSSED[word]} ")
                    + ("" if unit == "1" else _shown(bound.channel, value, unit))
                )
    for origin, said in told.items():
        yield f"by {origin}: {'; '.join(said)}".replace("; or ", " or ")


CROSSED = {"at least": "below", "at most": "above", "rises at most": "rising more than"}


JOINED = ("voltage", "current")
"""A summary names the tightest of these only."""


def _bounds(bound: GuardBound) -> Iterator[tuple[str, float, str, str]]:
    unit = unit_of(bound.channel)
    if _of_what_was_asked(bound):
        yield "at most", bound.at_most, unit, "what was asked for"
        return
    for word, value, shown, origin in (
        ("at least", bound.at_least, unit, bound.origin("at_least")),
        ("at most", bound.at_most, unit, bound.origin("at_most")),
        ("rises at most", bound.rate_at_most, RATES[unit], bound.origin("rate_at_most")),
    ):
        if origin:
            yield word, value, shown, origin


def _of_what_was_asked(bound: GuardBound) -> bool:
    """Tell what counts only beyond what a load may take more or less than it was told."""
    return bound.channel in {"departure.current", "missing.current"} and bound.at_most == 0.0


def _shown(channel: str, value: float, unit: str) -> str:
    if channel == "departure.current" and value == 0.0:
        return f"{100 * LOAD_SHARE:g} % + {format_quantity(LOAD_REST_A, 'A')}"
    if channel == "missing.current" and value == 0.0:
        return f"{100 * (1 - DRAWN_SHARE):g} %"
    return "not raised" if unit == "1" else format_quantity(value, unit, 4)


def sweep_warnings(documents: Documents, bounds: Iterable[GuardBound]) -> Iterator[str]:
    """Yield which guards may end a limit sweep of a unit that keeps its promises."""
    entry = next((e for e in documents.profile.trials if e.trial == "limit_sweep"), None)
    if entry is None:
        return
    rated = documents.unit.ratings.current
    upper = [limit.bound.resolve(rated)[1] for limit in documents.unit.limits if limit.unit == "A"]
    most = max((one for one in upper if one is not None), default=None)
    for bound in bounds:
        if quantity_of(bound.channel) != "current":
            continue
        allowed = f"{bound.channel} above {format_quantity(bound.at_most, 'A')}"
        by = f"by {bound.origin('at_most')}"
        if most is None:
            yield (
                f"A current limit that lets {allowed} ends the sweep ({by}): the unit document "
                "states no greatest current (at_most of limit_current)."
            )
            return
        if bound.at_most <= most:
            yield (
                f"The guard ends a sweep at {allowed} ({by}), though the unit may limit as high "
                f"as {format_quantity(most, 'A')}: raise it, or good units can't be judged."
            )
            return


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
    told = {**told, **dict.fromkeys(documents.bench.typed, 0)}  # who reads a meter sees it frozen
    blind = [n for n, c in documents.bench.channels.items() if n not in told and c.unit != "1"]
    if blind:
        found.append(
            f"A frozen meter goes unnoticed on {', '.join(blind)}: no visible noise stated."
        )
    return (*found, *sweep_warnings(documents, bounds))
