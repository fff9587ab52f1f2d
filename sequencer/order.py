"""In which order trials are done, so that the leads of a moved meter are moved as rarely as can be.

Rules, in this order. A trial that needs both places is one piece, so that they are compared in one
state of heat; it ends where it did not begin. It may come before the trials that its author put
first, as it looks at the leads before much is drawn, but never later, and never across a trial that
warms the unit. It may begin at the load only where no guard of the sense points is without its like
there. Of what is left the fewest walks win, then the author's order.

Numbers of trials stay the profile's: in the record, when a run goes on, and in the report.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from sequencer.documents.load import Documents
from sequencer.judging import planned_trials
from sequencer.run.bounds import guard_bounds
from sequencer.run.guard_bound import GuardBound
from sequencer.trials.readiness import held_at_load_s
from sequencer.trials.trial import VOLTAGE, VOLTAGE_AT_LOAD, Context, Trial

ORDER = "order"
"""The kind of the event that tells of another order than the profile's."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One trial in its turn; `number` is its place in the profile, from 0.

    `context` knows where the leads are when it begins.
    """

    number: int
    trial: Trial[Any]
    settings: BaseModel
    context: Context

    @property
    def both_places(self) -> bool:
        """Whether the leads are moved in it."""
        return len(self.trial.places(self.settings, self.context)) > 1


@dataclass(frozen=True, slots=True)
class Order:
    """The turns, how often the leads are moved, and in words what was changed or had to be left."""

    turns: tuple[Turn, ...]
    walks: int = 0
    remarks: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether it is another order than the profile's."""
        return [turn.number for turn in self.turns] != sorted(turn.number for turn in self.turns)


def order_of(documents: Documents) -> Order:
    """Return the order in which the trials of a profile are done."""
    context = Context(documents.unit, documents.bench)
    turns = [Turn(n, t, s, context) for n, (t, s) in enumerate(planned_trials(documents))]
    if not any(turn.both_places for turn in turns):
        return Order(tuple(turns))
    alike = _alike(documents)
    orders = [turns, first_looked_at(turns)]
    found = [
        placed(one, start)
        for one in orders
        for start in (VOLTAGE, *((VOLTAGE_AT_LOAD,) if alike and one[0].both_places else ()))
    ]
    best = min(found, key=lambda one: one.walks)  # the first of equals: the author's order
    return replace(best, remarks=_remarks(best, alike=alike, least=_least(orders)))


def first_looked_at(turns: Sequence[Turn]) -> list[Turn]:
    """Put each trial of both places as early as nothing warms the unit before it."""
    order: list[Turn] = []
    warm = 0
    for turn in turns:
        if turn.both_places:
            order.insert(warm, turn)
            warm += 1
        else:
            order.append(turn)
            if held_at_load_s(turn.settings, turn.context) > 0.0:
                warm = len(order)
    return order


def placed(turns: Sequence[Turn], start: str) -> Order:
    """Say for each turn where the leads are and whether they go back, beginning at `start`."""
    at, walks, known = start, 0, []
    for index, turn in enumerate(turns):
        context = replace(turn.context, leads_at=at)
        if turn.both_places:
            there = VOLTAGE if at == VOLTAGE_AT_LOAD else VOLTAGE_AT_LOAD
            following = turns[index + 1 : index + 2]
            back = at == VOLTAGE and bool(following) and not following[0].both_places
            context = replace(context, leads_back=back)
            walks += 2 if back else 1
            at = at if back else there
        known.append(replace(turn, context=context))
    return Order(tuple(known), walks)


def _alike(documents: Documents) -> bool:
    """Return whether whatever bounds the sense points bounds the load's terminals at least so."""
    bounds = {bound.channel: bound for bound in guard_bounds(documents)}
    none = GuardBound(VOLTAGE)
    ours, other = bounds.get(VOLTAGE, none), bounds.get(VOLTAGE_AT_LOAD, none)
    return (
        other.at_most <= ours.at_most
        and other.at_least >= ours.at_least
        and other.rate_at_most <= ours.rate_at_most
    )


def _least(orders: Sequence[Sequence[Turn]]) -> int:
    """Return how few walks there would be if no guard stood against the start at the load."""
    return min(
        placed(one, start).walks
        for one in orders
        for start in (VOLTAGE, *((VOLTAGE_AT_LOAD,) if one[0].both_places else ()))
    )


def _remarks(order: Order, *, alike: bool, least: int) -> tuple[str, ...]:
    """Say what was changed, and why there are not fewer walks."""
    said = []
    names = [turn.trial.name for turn in order.turns]
    if order.changed:
        said.append(
            f"Trials are done in the order {', '.join(names)}, so that the leads are moved less "
            "often; their numbers in record and report stay the profile's."
        )
    if order.walks > least and not alike:
        said.append(
            f"Not fewer walks, as a guard of {VOLTAGE} would rest at the start: give "
            f"{VOLTAGE_AT_LOAD} the same guard and {least} will do."
        )
    elif order.walks > 1:
        said.append(
            "Not fewer walks: both places of a trial are compared in one state of heat, it stays "
            "before the trials that it protects and after those that warm the unit."
        )
    return tuple(said)
