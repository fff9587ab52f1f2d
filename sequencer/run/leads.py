"""Where the leads of a meter are that a person moves: what can be read now, and what can't."""

from collections.abc import Iterable, Mapping, Sequence

from sequencer.documents.channels import BenchChannel


class Leads:
    """The place of each moved meter's leads; at first where the first trial wants them.

    `at` is the channel at whose place that is; a meter that is moved between other places begins at
    that of its first channel in the document.

    `in_air` while a person is moving some: whatever a meter reads then says nothing.
    """

    def __init__(
        self, channels: Mapping[str, BenchChannel] | None = None, at: str | None = None
    ) -> None:
        self._places = {
            name: (one.instrument, one.leads)
            for name, one in (channels or {}).items()
            if one.leads is not None
        }
        self._now: dict[str, str] = {}
        for instrument, place in self._places.values():
            self._now.setdefault(instrument, place)
        self.in_air = False
        if at is not None:
            self.move_to(at)

    @property
    def now(self) -> Mapping[str, str]:
        """By meter the place of its leads."""
        return dict(self._now)

    def move_to(self, channel: str) -> None:
        """Learn that the leads are, or are to be, where a channel is read."""
        if channel in self._places:
            instrument, place = self._places[channel]
            self._now[instrument] = place

    def elsewhere(self, channels: Iterable[str]) -> frozenset[str]:
        """Return those channels whose meter's leads are at another place now."""
        placed = ((name, self._places[name]) for name in channels if name in self._places)
        return frozenset(n for n, (meter, place) in placed if self._now[meter] != place)

    @property
    def away(self) -> frozenset[str]:
        """All channels that can't be read now."""
        return self.elsewhere(self._places)

    def in_place(self, channels: Sequence[str]) -> tuple[str, ...]:
        """Return the channels that can be read now."""
        away = self.elsewhere(channels)
        return tuple(name for name in channels if name not in away)
