"""Levels grouped by the resistors that a person connects, so that nobody gets up at each visit.

No load takes all resistors off. So only the levels that need none are compared with no load. Those
that need some are compared with a lower level that can be drawn with the same resistors connected
and without them: the link. Its own difference from no load, from the group below, is added:
V(f) − V(0) = [V(f) − V(m)] + [V(m) − V(0)]. Each bracket cancels drift as before; their scatter,
and what the meter does between two visits, counts once more for each link.
"""

from collections.abc import Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from sequencer.documents.resistors import LEAST_OWN_A, OWN_SHARE, conductance
from sequencer.requests import LoadState, Readings, Reply, Request
from sequencer.trials.steps import drawing, trimmed_levels, unsure_by
from sequencer.trials.trial import Context

ROOM = 0.01


@dataclass(frozen=True, slots=True)
class Group:
    """Levels (fractions of full current) drawn with the same resistors by hand, and their base.

    `hands` is None where no level needs a hand; then the base is no load and switches may move.
    `full` is the full current (A) at `voltage` (V).
    """

    context: Context
    voltage: float
    full: float
    number: int
    hands: tuple[int, ...] | None
    base: float
    levels: tuple[float, ...]

    @property
    def all_levels(self) -> tuple[float, ...]:
        """The levels and, where that is a level, their base."""
        return tuple(sorted({*self.levels, *([self.base] if self.base > 0.0 else [])}))

    @property
    def tag(self) -> dict[str, float | str]:
        """What a visit's tag says of its group; nothing where there is only one."""
        return {} if self.hands is None else {"group": float(self.number), "base": self.base}

    def state(self, fraction: float, trim: float = 0.0) -> LoadState:
        """Return the load's state for a fraction of full current."""
        wanted = fraction * self.full
        if wanted <= 0.0:
            return self.rest
        return drawing(self.context, self.voltage, wanted, trim, self.hands)

    @property
    def rest(self) -> LoadState:
        """The load off, with the group's resistors where they are."""
        return LoadState("current", 0.0, on=False, resistors=self.hands or ())


class Visit(Protocol):
    """Reads at a fraction of full current in a group, the load set to a level (A)."""

    def __call__(
        self, group: Group, fraction: float, level: float, part: str
    ) -> Generator[Request, Reply, Readings]:
        """Go there and read."""


def groups(
    context: Context, voltage: float, full: float, fractions: Sequence[float]
) -> tuple[Group, ...]:
    """Return the levels by resistors, the first group compared with no load.

    One group of all, as if there were no hands, where no level needs one or two neighbouring groups
    have no level in common: then a person is asked at each visit.
    """
    levels = sorted({f for f in fractions if f > 0.0})
    alone = (Group(context, voltage, full, 0, None, 0.0, tuple(levels)),)
    load = context.bench.load
    needed = {f: load.by_hand(load.share(voltage, f * full).resistors) for f in levels}
    if not any(needed.values()):
        return alone
    sets = list(dict.fromkeys([(), *needed.values()]))
    inside = {hands: [f for f in levels if needed[f] == hands] for hands in sets}
    base: dict[tuple[int, ...], float] = {(): 0.0}
    for below, above in pairwise(sets):
        link = _link(context, voltage, full, inside[below], below, above)
        if link is None:
            return alone
        base[above] = link
        inside[below] = sorted({*inside[below], link})
    found = tuple(
        Group(context, voltage, full, n, hands, base[hands], tuple(inside[hands]))
        for n, hands in enumerate(sets)
    )
    possible = (load.shared(voltage, f * full, g.hands) for g in found for f in g.all_levels)
    return found if all(possible) else alone


def _link(
    context: Context,
    voltage: float,
    full: float,
    levels: Sequence[float],
    below: tuple[int, ...],
    above: tuple[int, ...],
) -> float | None:
    """Return a level that can be drawn with the resistors of two groups; a visited one if any."""
    (_, most), (least, highest) = (_range(context, voltage, one) for one in (below, above))
    common = [f for f in levels if least <= f * full <= highest]
    if common:
        return max(common)
    # Where there is room, not right at what the load can take: it is trimmed by the ammeter.
    top = min(most, highest)
    return max(least, (1.0 - ROOM) * top) / full if least < top else None


def _range(context: Context, voltage: float, hands: tuple[int, ...]) -> tuple[float, float]:
    """Return which currents (A) can be drawn with these resistors, whatever their tolerance."""
    load = context.bench.load
    low, high = (voltage * conductance(load.resistors, hands, sign) for sign in (1.0, -1.0))
    least = LEAST_OWN_A if hands else 0.0
    return low + least, high + OWN_SHARE * load.reach(voltage)


def order_of_visits(group: Group, repeats: int) -> Iterator[float]:
    """Yield the order of visits: every level between two at the base, odd rounds backwards.

    The level at the turn of two rounds comes twice in a row, with the base between.
    """
    levels = [fraction for fraction in group.levels if fraction > group.base]
    yield group.base
    for number in range(repeats):
        for fraction in levels if number % 2 == 0 else reversed(levels):
            yield fraction
            yield group.base


def rounds(
    group: Group,
    visit: Visit,
    channel: str,
    repeats: int,
    level: Mapping[float, float] | None = None,
) -> Generator[Request, Reply, Mapping[float, float]]:
    """Trim the load to the levels of a group by the ammeter `channel`, then visit them in rounds.

    Returns the trimmed levels (A); given as `level`, they are not looked for again.
    """

    def trim(fraction: float, wanted: float) -> Generator[Request, Reply, Readings]:
        return visit(group, fraction, wanted, "trim")

    if level is None:
        all_levels = group.all_levels
        unsure = unsure_by(group.context, group.voltage, group.full, all_levels, group.hands)
        level = yield from trimmed_levels(trim, channel, group.full, all_levels, unsure)
    for fraction in order_of_visits(group, repeats):
        yield from visit(group, fraction, level.get(fraction, 0.0), "round")
    return level
