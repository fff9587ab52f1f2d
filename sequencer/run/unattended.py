"""Whether a run may be left alone: what the profile demands must be there, and nobody needed."""

from collections.abc import Iterator

from sequencer.documents.guards import INTERLOCK, quantity_of
from sequencer.documents.load import Documents
from sequencer.planning import Plan
from sequencer.run.guard_bound import GuardBound

DE_ENERGISES = frozenset({"line_source", "switch"})
"""Roles that take a hand-operated unit's energy away without a hand."""

HEATS_FOR_HOURS = frozenset({"soak"})


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


def _no_temperature(documents: Documents, bounds: tuple[GuardBound, ...]) -> Iterator[str]:
    heats = any(entry.trial in HEATS_FOR_HOURS for entry in documents.profile.trials)
    if heats and not any(quantity_of(bound.channel) == "temperature" for bound in bounds):
        yield "a soak heats the unit for hours and no guard watches a temperature"


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
