"""Guards: bounds on readings, and on what follows from them, that stop the run when crossed."""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from math import inf, isnan
from typing import Any

from drivers.roles import Reading
from sequencer.documents.guards import DERIVED, INTERLOCK, quantity_of
from sequencer.documents.rendering import format_quantity
from sequencer.errors import GuardTripped
from sequencer.run.frozen import FrozenWatch
from sequencer.run.guard_bound import GuardBound, tightest, unit_of
from sequencer.run.operating_point import OperatingPoint

__all__ = ["GuardBound", "Guards", "tightest"]

RATE_WINDOW_S = 60.0
"""A rate of rise is taken over a minute: long against the thermometer's noise, short against
the minutes that a heatsink needs."""

RATE_MINIMUM_S = 20.0
"""Under this span a rate says more about noise than about heat."""

MOST_WITHOUT_NUMBER = 3
"""A single damaged answer may happen; three in a row are a blind guard."""

STALE_S = 30.0
"""A guarded channel that was not read for so long is not guarded."""


class Guards:
    """Watch readings against bounds; remembers a minute of each rated channel.

    Parameters
    ----------
    most_alike
        By channel, how many equal readings in a row are too many (`sequencer.run.frozen`).
    point
        The operating point that derived quantities are worked out from.
    """

    def __init__(
        self,
        bounds: Iterable[GuardBound],
        *,
        most_alike: Mapping[str, int] | None = None,
        point: OperatingPoint | None = None,
    ) -> None:
        self._bounds: Mapping[str, GuardBound] = {b.channel: b for b in tightest(bounds)}
        self.point = point or OperatingPoint()
        self._away: frozenset[str] = frozenset()
        self._frozen = FrozenWatch(most_alike or {})
        self._missing: dict[str, int] = {}
        self._seen: dict[str, float] = {}
        self._history: dict[str, deque[tuple[float, float]]] = {
            b.channel: deque() for b in self._bounds.values() if b.rate_at_most != inf
        }
        self._periods = {b.channel: b.period_s for b in self._bounds.values()}
        for channel in self.point.channels if self._periods.keys() & DERIVED.keys() else ():
            self._periods[channel] = min(self._periods.get(channel, 1.0), 1.0)

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that must be read."""
        return tuple(n for n in self._periods if n not in DERIVED and n not in self._away)

    def leave_out(self, away: frozenset[str]) -> None:
        """Leave out channels whose meter a person has moved elsewhere, until told otherwise."""
        for back in self._away - away:
            self._seen.pop(back, None)
        self._away = away

    def due(self, at: float, last: Mapping[str, float]) -> tuple[str, ...]:
        """Return the channels to be read at bench time `at`; `last` says when they were."""
        return tuple(
            name
            for name in self.channels
            if at - last.get(name, -inf) >= self._periods[name] - 1e-6
        )

    def check(self, readings: Sequence[Reading]) -> None:
        """Look at readings.

        Raises
        ------
        GuardTripped
            When a reading or what follows from it crosses a bound, a guarded channel reports
            overload, gives no number, repeats itself or was not read for long.
        """
        for reading in (*readings, *self.point.derived(readings)):
            bound = self._bounds.get(reading.channel)
            if bound is not None:
                self._check_one(reading, bound)
        self._frozen.check(readings)
        self._check_age(readings)

    def _check_age(self, readings: Sequence[Reading]) -> None:
        """Trip when a channel that was being read no longer is."""
        self._seen.update((r.channel, r.answered_at) for r in readings)
        now = max((r.answered_at for r in readings), default=-inf)
        for channel in self.channels:
            age_s = now - self._seen.get(channel, now)
            if age_s > STALE_S + self._periods[channel]:
                raise GuardTripped(
                    f"{channel} was last read {age_s:.0f} s ago, so its guard knows nothing of "
                    "now.",
                    guard=channel,
                    reason="not read",
                    at=now,
                )

    def _without_number(self, reading: Reading) -> None:
        """Count readings without a number: a guard that sees nothing guards nothing."""
        count = self._missing[reading.channel] = self._missing.get(reading.channel, 0) + 1
        if count >= MOST_WITHOUT_NUMBER:
            raise GuardTripped(
                f"{reading.channel} gave no number {count} times in a row, last {reading.raw!r} at "
                f"{reading.answered_at:.1f} s, so its guard is blind.",
                guard=reading.channel,
                reason="no number",
                at=reading.answered_at,
            )

    def _check_one(self, reading: Reading, bound: GuardBound) -> None:
        value = reading.value
        if reading.flag == "overload":
            raise GuardTripped(
                f"{reading.channel} is over its meter's range ({reading.raw!r}) at "
                f"{reading.answered_at:.1f} s, so its guard can't tell how far.",
                guard=reading.channel,
                reason="over the meter's range",
                at=reading.answered_at,
            )
        if isnan(value):
            self._without_number(reading)
            return
        self._missing.pop(reading.channel, None)
        if not bound.at_least <= value <= bound.at_most:
            raise _crossed(reading, bound)
        self._check_rise(reading, bound)

    def _check_rise(self, reading: Reading, bound: GuardBound) -> None:
        history = self._history.get(reading.channel)
        if history is None:
            return
        history.append((reading.answered_at, reading.value))
        while history[-1][0] - history[0][0] > RATE_WINDOW_S:
            history.popleft()
        span = history[-1][0] - history[0][0]
        rate = (reading.value - history[0][1]) / span if span >= RATE_MINIMUM_S else 0.0
        if rate > bound.rate_at_most:
            unit = unit_of(reading.channel)
            rise = "K" if unit == "°C" else unit
            raise GuardTripped(
                f"{reading.channel} rose by {rate * 60:.3g} {rise} per minute over the last "
                f"{span:.0f} s, to {format_quantity(reading.value, unit, 5)}; at most "
                f"{bound.rate_at_most * 60:.3g} {rise} per minute is allowed (by "
                f"{bound.origin('rate_at_most')}).",
                **_detail(reading, "rises too fast", f"{rise}/s"),
                value=rate,
                bound=bound.rate_at_most,
                source=bound.origin("rate_at_most"),
            )


def _crossed(reading: Reading, bound: GuardBound) -> GuardTripped:
    if quantity_of(reading.channel) == INTERLOCK:
        text = f"{reading.channel} is raised at {reading.answered_at:.1f} s."
        return GuardTripped(text, **_detail(reading, "raised", "1"), value=reading.value)
    above, unit = reading.value > bound.at_most, unit_of(reading.channel)
    edge, most = ("most", bound.at_most) if above else ("least", bound.at_least)
    origin = bound.origin("at_most" if above else "at_least")
    value = format_quantity(reading.value, unit, 5)
    return GuardTripped(
        f"{reading.channel} was {value}; at {edge} {format_quantity(most, unit)} is allowed "
        f"(by {origin}).",
        **_detail(reading, "too high" if above else "too low", unit),
        value=reading.value,
        bound=most,
        source=origin,
    )


def _detail(reading: Reading, reason: str, unit: str) -> dict[str, Any]:
    return {
        "guard": reading.channel,
        "reason": reason,
        "unit": unit,
        "at": reading.answered_at,
    }
