"""Tell of readings that hold no number, which every mean leaves out."""

from collections.abc import Callable, Sequence
from math import inf

from drivers.roles import Reading
from sequencer.run.event_kinds import NO_NUMBER

APART_S = 60.0
"""A meter that gives none for a night would otherwise fill the record with events."""


class NoNumber:
    """Write an event when a channel gives no number, at most one a minute for each channel."""

    def __init__(self, event: Callable[[float, str], None]) -> None:
        self._event = event
        self._told: dict[str, float] = {}

    def see(self, readings: Sequence[Reading]) -> None:
        """Look at the readings of one tick."""
        for reading in readings:
            at = reading.answered_at
            if reading.flag and at - self._told.get(reading.channel, -inf) >= APART_S:
                self._told[reading.channel] = at
                self._event(
                    at,
                    f"{reading.channel} gave no number at {at:.1f} s ({reading.flag}, "
                    f"{reading.raw!r}): no figure uses this reading, nor others without a number "
                    f"within the next {APART_S:.0f} s.",
                )


def writes(event: Callable[..., None]) -> Callable[[float, str], None]:
    """Return what writes the text of such an event."""
    return lambda at, text: event(at, NO_NUMBER, "warning", text)
