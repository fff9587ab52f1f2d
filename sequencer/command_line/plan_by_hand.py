"""What a plan says about resistors, leads that are moved, and how often a person has to get up."""

from collections.abc import Iterator

from sequencer.command_line.plan_steps import clock
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.documents.resistors import DERATING
from sequencer.judging import planned_trials
from sequencer.planning import Plan
from sequencer.run.leads import Leads

GETS_UP = ("resistor", "Move the leads")
"""Words of what is done at the table, not at the unit's knobs."""


def resistor_words(documents: Documents) -> Iterator[str]:
    """Yield what each resistor does when everything else is off, and what it is too small for."""
    settings = [one for _, one in planned_trials(documents)]
    voltages = [getattr(one, "voltage", None) for one in settings]
    voltage = max((v for v in voltages if v), default=documents.unit.ratings.voltage)
    resistors = documents.bench.load.resistors
    for number, one in enumerate(resistors, start=1):
        amperes, power = voltage / one.resistance, voltage**2 / one.resistance
        yield (
            f"Resistor {number} ({format_quantity(one.resistance, 'ohm', 3)}, by {one.by}): "
            f"{format_quantity(amperes, 'A', 3)} and {format_quantity(power, 'W', 3)} at "
            f"{format_quantity(voltage, 'V')}, for as long as it is connected and the output is "
            "on, with the load off too."
        )
        if DERATING * power > one.power:
            yield (
                f"Resistor {number} takes more than half of the {format_quantity(one.power, 'W')} "
                "that it can: it needs the heatsink and the air of its data sheet."
            )
    if any(one.by == "hand" for one in resistors):
        yield (
            "Resistors connected by hand stay connected if the program ends: nothing but a person "
            "can take them off, and they are hot enough to burn. Put a toggle switch in series "
            "with each, rated for its current at this direct voltage, and work that instead."
        )
    if any(one.by == "switch" for one in resistors):
        yield (
            "A relay that welds or loses its supply voltage can leave its resistor connected: the "
            "load's off switch does not end that current, only the unit's does."
        )


def leads_words(documents: Documents) -> Iterator[str]:
    """Yield what nobody sees while the leads of a meter are elsewhere."""
    moved = [n for n, c in documents.bench.channels.items() if c.leads is not None]
    guarded = [n for n in moved if n in {**documents.bench.guards, **documents.profile.guards}]
    for channel in guarded:
        yield (
            f"The guard of {channel} rests while the leads of its meter are elsewhere; then only "
            "the ratings bound what the meter reads there."
        )
    if moved:
        yield (
            "Leads are moved with the output on: keep their tips apart. After a crash the guardian "
            f"and make-safe take no word of {', '.join(moved)}, as the leads may hang in the air."
        )


def walk_words(documents: Documents, plan: Plan) -> Iterator[str]:
    """Yield where leads are at the start, when they are moved where, and what was regrouped."""
    turns = plan.order.turns
    places = Leads(documents.bench.channels, turns[0].context.leads_at if turns else None).now
    walks = [
        f"at {clock(step.at_s)} in {trial.name} to the {step.what.split(' to the ')[-1][:-1]}"
        for trial in plan.trials
        for step in trial.steps
        if GETS_UP[1] in step.what
    ]
    for meter, place in places.items():
        yield (
            f"Leads: at the start those of {meter} have to be at the {place}. "
            f"{_times(len(walks), 'walk')}{': ' if walks else ''}{'; '.join(walks)}."
        )
    yield from plan.order.remarks


def _times(count: int, noun: str) -> str:
    return f"{count or 'No'} {noun}{'' if count == 1 else 's'}"


def times_up(plan: Plan) -> int:
    """Return how often a person has to get up, beside turning the unit's knobs."""
    return sum(
        any(word in step.what for word in GETS_UP)
        for trial in plan.trials
        for step in trial.steps
        if step.what.startswith("ask: ")
    )


def gets_up(plan: Plan) -> str:
    """Say how often a person has to get up; empty where nobody has to."""
    count = times_up(plan)
    return (
        f"A person has to get up {_times(count, 'time')} for leads and resistors." if count else ""
    )
