"""What a plan says about resistors, leads that are moved, and how often a person has to get up."""

from collections.abc import Iterator

from sequencer.command_line.plan_steps import clock
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.documents.resistors import DERATING
from sequencer.judging import planned_trials
from sequencer.planning import Plan
from sequencer.run.leads import Leads
from sequencer.trials.trial import VOLTAGE, VOLTAGE_AT_LOAD

ASK = "ask: "
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
    if guarded:
        yield (
            f"The guard of {' or '.join(guarded)} rests while the leads of its meter are elsewhere;"
            " then only the ratings bound what the meter reads there."
        )
    unvisited = [n for n in moved if n not in (VOLTAGE, VOLTAGE_AT_LOAD)]
    if unvisited:
        yield f"Nobody moves leads for {', '.join(unvisited)}: no trial reads it on a moved meter."
    if moved:
        yield (
            "Leads are moved with the output on: keep their tips apart. After a crash the guardian "
            f"and make-safe take no word of {', '.join(moved)}, as the leads may hang in the air."
        )


def pace_words(plan: Plan) -> Iterator[str]:
    """Yield which trials want readings faster than a scanner brings them."""
    slow = {t.name: max((step.look_s for step in t.steps), default=0.0) for t in plan.trials}
    late = {name: look_s for name, look_s in slow.items() if look_s > 0.0}
    if late:
        looks = ", ".join(f"{n} {format_quantity(s, 's', 2)}" for n, s in late.items())
        yield (
            f"The scanner is slower than these trials read ({looks} for each look), so that some "
            'readings are left out: give them a longer period, such as period = "1 s".'
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
            f"Leads of {meter}: at the {place} when the run starts. "
            f"{_times(len(walks), 'walk')}{': ' if walks else ''}{'; '.join(walks)}."
        )
    yield from plan.order.remarks


def hand_words(plan: Plan) -> Iterator[str]:
    """Yield when resistors are connected and taken off by hand."""
    for trial in plan.trials:
        done = [
            f"{clock(step.at_s)} {word} {step.what.split('resistor ')[1].split(' ')[0]}"
            for step in trial.steps
            if step.what.startswith(ASK) and GETS_UP[0] in step.what
            for word in (("take off" if "Disconnect" in step.what else "connect"),)
        ]
        if done:
            yield f"Resistors by hand in {trial.name}: {', '.join(done)}."


def _times(count: int, noun: str) -> str:
    return f"{count or 'No'} {noun}{'' if count == 1 else 's'}"


def times_up(plan: Plan) -> int:
    """Return how often a person has to get up, beside turning the unit's knobs."""
    return sum(gets_up(step.what) for trial in plan.trials for step in trial.steps)


def gets_up(what: str) -> bool:
    """Return whether a person has to get up for a step of a plan."""
    return what.startswith(ASK) and any(word in what for word in GETS_UP)


def moves_words(documents: Documents, plan: Plan) -> Iterator[str]:
    """Yield how often a person has to get up, and for what; nothing where nobody has to."""
    if count := times_up(plan):
        yield f"A person has to get up {_times(count, 'time')}, beside the unit's knobs:"
    yield from walk_words(documents, plan)
    yield from hand_words(plan)
