"""Whether a run may be left alone: what the profile demands must be there, and nobody needed."""

from collections.abc import Iterator
from math import inf

from sequencer.documents.guards import INTERLOCK, quantity_of
from sequencer.documents.load import Documents
from sequencer.planning import Plan
from sequencer.run.guard_bound import GuardBound

DE_ENERGISES = frozenset({"line_source", "switch"})
"""Roles that take a hand-operated unit's energy away without a hand."""

HEATS_FOR_HOURS = frozenset({"soak"})

TIME_ON, DEPARTURE = "time.on", "departure.voltage"
ROOM = "temperature.ambient"

HOTTEST = 150.0
"""°C. Silicon power transistors are rated for junctions of 150 to 200 °C (common practice, no
source): a heatsink that a guard lets grow hotter has lost them already."""

SPARE = 2.0
SPARE_S = 3600.0
"""A bound of the time on power beyond twice the plan and an hour ends no run in time."""


def obstacles(
    documents: Documents,
    plan: Plan,
    bounds: tuple[GuardBound, ...],
    *,
    notifies: bool,
) -> tuple[str, ...]:
    """Return why a run must not be left alone; empty where nothing stands against it.

    `notifies` says whether an address to notify is known and its library installed.
    """
    return (
        *_demanded(documents, bounds, notifies=notifies),
        *_never_trips(documents, plan, bounds),
        *_no_temperature(documents, bounds),
        *_persons(documents, plan),
    )


def _demanded(
    documents: Documents, bounds: tuple[GuardBound, ...], *, notifies: bool
) -> Iterator[str]:
    wanted = documents.profile.unattended
    if wanted is None:
        yield "the profile has no [unattended] table"
        return
    declared = {*documents.bench.guards, *documents.profile.guards}
    guarded = {bound.channel for bound in bounds}
    for name in wanted.guards:
        if name not in guarded:
            yield f"no guard watches {name}, which the profile demands"
        elif name not in declared:
            yield f"only ratings bound {name}: the profile demands a guard that a document states"
    for name in wanted.interlocks:
        if name not in documents.bench.channels or quantity_of(name) != INTERLOCK:
            yield f"the bench has no safety input {name}, which the profile demands"
    if wanted.notification and not notifies:
        yield (
            "nobody would be notified: give an address in the bench document's [notifications] or "
            "in STEADYRAIL_NOTIFY, and install steadyrail[notify]"
        )


def _never_trips(documents: Documents, plan: Plan, bounds: tuple[GuardBound, ...]) -> Iterator[str]:
    """Yield demanded guards whose bound lies where nothing ever comes, or far too late."""
    wanted = documents.profile.unattended
    latest_s = SPARE * plan.duration_s + SPARE_S
    for bound in bounds:
        if wanted is None or bound.channel not in wanted.guards:
            continue
        if quantity_of(bound.channel) == "temperature" and not _in_time(bound):
            yield (
                f"{bound.channel} has no bound at {HOTTEST:.0f} °C or below (at_most), so that its "
                "guard comes too late"
            )
        if bound.channel == DEPARTURE and -inf < bound.at_least <= -documents.unit.ratings.voltage:
            yield (
                f"{DEPARTURE} is bounded at {bound.at_least:.3g} V, by which no output of this "
                "unit can fall"
            )
        if bound.channel == TIME_ON and bound.at_most > latest_s:
            yield (
                f"{TIME_ON} is bounded at {bound.at_most / 3600:.3g} h, which a run of "
                f"{plan.duration_s / 3600:.3g} h never reaches: expected at most "
                f"{latest_s / 3600:.3g} h"
            )


def _in_time(bound: GuardBound) -> bool:
    return bound.at_most <= HOTTEST


def _no_temperature(documents: Documents, bounds: tuple[GuardBound, ...]) -> Iterator[str]:
    heats = any(entry.trial in HEATS_FOR_HOURS for entry in documents.profile.trials)
    guarded = [b for b in bounds if quantity_of(b.channel) == "temperature" and b.channel != ROOM]
    if heats and not any(map(_in_time, guarded)):
        bounded = f" with a bound at {HOTTEST:.0f} °C or below" if guarded else " of it"
        yield f"a soak heats the unit for hours and no guard watches a temperature{bounded}"


def _persons(documents: Documents, plan: Plan) -> Iterator[str]:
    bench = documents.bench
    if bench.bench.operator != "terminal":
        return
    energised = False
    for trial in plan.trials:
        for step in trial.steps:
            if energised and step.what.startswith("ask") and "as it is" not in step.what:
                yield f"{trial.name} needs a person after the start: {step.what}"
                return
            energised = energised or step.current > 0.0
    names = bench.bench.make_safe
    roles = {bench.instruments[n].role if n in bench.instruments else n for n in names}
    if documents.unit.unit.control == "hand" and not roles & DE_ENERGISES:
        yield (
            "making safe needs a hand at the unit's switch: put a line source or a switch that "
            "cuts the line into the bench and into make_safe"
        )
