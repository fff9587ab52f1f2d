"""Bounds of guards, and how the bounds of several sources become one."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf
from typing import Literal

from sequencer.documents.guards import quantity_of

UNITS = {
    "voltage": "V",
    "line": "V",
    "current": "A",
    "temperature": "°C",
    "power": "W",
    "time": "s",
}
DERIVED_UNITS = {"departure.voltage": "V", "departure.current": "A", "missing.current": "A"}
Kind = Literal["at_least", "at_most", "rate_at_most"]


@dataclass(frozen=True, slots=True)
class GuardBound:
    """The bounds of one quantity in its own unit (rate per second) and where they came from.

    `period_s` is how often the quantity is looked at, at least, when the trial doesn't read it.
    """

    channel: str
    at_least: float = -inf
    at_most: float = inf
    rate_at_most: float = inf
    source: str = ""
    period_s: float = field(default=1.0, compare=False)
    at_least_from: str = field(default="", compare=False)
    at_most_from: str = field(default="", compare=False)
    rate_from: str = field(default="", compare=False)

    def origin(self, kind: Kind) -> str:
        """Return where a bound came from; empty where there is none."""
        match kind:
            case "at_least":
                there, own = self.at_least > -inf, self.at_least_from
            case "at_most":
                there, own = self.at_most < inf, self.at_most_from
            case "rate_at_most":
                there, own = self.rate_at_most < inf, self.rate_from
        return (own or self.source) if there else ""


def unit_of(name: str) -> str:
    """Return the unit of a guarded quantity."""
    return DERIVED_UNITS.get(name) or UNITS.get(quantity_of(name), "1")


def tightest(bounds: Iterable[GuardBound]) -> tuple[GuardBound, ...]:
    """Join the bounds of each quantity into one; the tightest of each kind wins."""
    joined: dict[str, GuardBound] = {}
    for bound in bounds:
        other = joined.get(bound.channel)
        joined[bound.channel] = bound if other is None else _both(other, bound)
    return tuple(joined.values())


def _both(first: GuardBound, second: GuardBound) -> GuardBound:
    low = max((first, second), key=lambda b: b.at_least)
    high = min((first, second), key=lambda b: b.at_most)
    rate = min((first, second), key=lambda b: b.rate_at_most)
    origins = (low.origin("at_least"), high.origin("at_most"), rate.origin("rate_at_most"))
    return GuardBound(
        channel=first.channel,
        at_least=low.at_least,
        at_most=high.at_most,
        rate_at_most=rate.rate_at_most,
        source=", ".join(b for b in (first.source, second.source) if b in origins)
        or ", ".join(dict.fromkeys(filter(None, origins))),
        period_s=min(first.period_s, second.period_s),
        at_least_from=origins[0],
        at_most_from=origins[1],
        rate_from=origins[2],
    )
