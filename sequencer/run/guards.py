"""Guards: bounds on readings that stop the run when they are crossed.

A bound comes from the bench, from the profile or from the load's ratings; where several speak of
one channel the tightest wins.
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isnan

from drivers.roles import Reading
from sequencer.errors import GuardTripped

RATE_WINDOW_S = 60.0
"""A rate of rise is taken over a minute: long against the thermometer's noise, short against
the minutes that a heatsink needs."""

MOST_WITHOUT_NUMBER = 3
"""A single damaged answer may happen; three in a row are a blind guard."""

RATE_MINIMUM_S = 20.0
"""Under this span a rate says more about noise than about heat."""


@dataclass(frozen=True, slots=True)
class GuardBound:
    """The bounds of one channel in its own unit (rate per second) and where each came from."""

    channel: str
    at_least: float = float("-inf")
    at_most: float = float("inf")
    rate_at_most: float = float("inf")
    source: str = ""


def tightest(bounds: Iterable[GuardBound]) -> tuple[GuardBound, ...]:
    """Join the bounds of each channel into one; the tightest of each kind wins."""
    joined: dict[str, GuardBound] = {}
    for bound in bounds:
        other = joined.get(bound.channel)
        if other is None:
            joined[bound.channel] = bound
            continue
        sources = dict.fromkeys(filter(None, (other.source, bound.source)))
        joined[bound.channel] = GuardBound(
            channel=bound.channel,
            at_least=max(bound.at_least, other.at_least),
            at_most=min(bound.at_most, other.at_most),
            rate_at_most=min(bound.rate_at_most, other.rate_at_most),
            source=", ".join(sources),
        )
    return tuple(joined.values())


class Guards:
    """Watch readings against bounds; remembers a minute of each rated channel."""

    def __init__(self, bounds: Iterable[GuardBound]) -> None:
        self._bounds: Mapping[str, GuardBound] = {b.channel: b for b in tightest(bounds)}
        self._missing: dict[str, int] = {}
        self._history: dict[str, deque[tuple[float, float]]] = {
            b.channel: deque() for b in self._bounds.values() if b.rate_at_most != float("inf")
        }

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that are watched."""
        return tuple(self._bounds)

    def check(self, readings: Sequence[Reading]) -> None:
        """Look at readings.

        Raises
        ------
        GuardTripped
            When a reading crosses a bound, or a guarded channel reports overload.
        """
        for reading in readings:
            bound = self._bounds.get(reading.channel)
            if bound is not None:
                self._check_one(reading, bound)

    def _without_number(self, reading: Reading) -> None:
        """Count readings without a number: a guard that sees nothing guards nothing."""
        count = self._missing[reading.channel] = self._missing.get(reading.channel, 0) + 1
        if count >= MOST_WITHOUT_NUMBER:
            raise GuardTripped(
                f"{reading.channel} gave no number {count} times in a row, last {reading.raw!r} at "
                f"{reading.answered_at:.1f} s, so its guard is blind."
            )

    def _check_one(self, reading: Reading, bound: GuardBound) -> None:
        value = reading.value
        if reading.flag == "overload":
            raise GuardTripped(
                f"{reading.channel} is over its meter's range ({reading.raw!r}) at "
                f"{reading.answered_at:.1f} s, so its guard can't tell how far."
            )
        if isnan(value):
            self._without_number(reading)
            return
        self._missing.pop(reading.channel, None)
        if not bound.at_least <= value <= bound.at_most:
            raise GuardTripped(
                f"{reading.channel} read {value:.6g} at {reading.answered_at:.1f} s; its guard "
                f"allows {bound.at_least:.6g} to {bound.at_most:.6g} (from {bound.source})."
            )
        history = self._history.get(reading.channel)
        if history is None:
            return
        history.append((reading.answered_at, value))
        while history[-1][0] - history[0][0] > RATE_WINDOW_S:
            history.popleft()
        span = history[-1][0] - history[0][0]
        if span >= RATE_MINIMUM_S:
            rate = (value - history[0][1]) / span
            if rate > bound.rate_at_most:
                raise GuardTripped(
                    f"{reading.channel} rose by {rate * 60:.3g} per minute over the last "
                    f"{span:.0f} s, to {value:.6g} at {reading.answered_at:.1f} s; its guard "
                    f"allows {bound.rate_at_most * 60:.3g} per minute (from {bound.source})."
                )
