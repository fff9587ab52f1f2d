"""Readings that repeat although the meter's noise says that they can't: a meter that has stopped.

Two readings with noise of standard deviation σ, rounded to a step q, are alike with a probability
of about q/(2·√π·σ) (difference of two normal variables, density at zero times q).
"""

from collections.abc import Iterable, Mapping
from math import ceil, log, pi, sqrt

from drivers.roles import Reading
from sequencer.documents.bench import BenchDocument
from sequencer.errors import GuardTripped

OVERSTATED = 3.0
"""A data sheet may state three times the noise that a good meter has (common practice)."""

CHANCE = 1e-12
"""A night has some 30,000 readings of a channel; chance must not end one night of a million."""

LEAST_ALIKE = 8
MOST_LIKELY = 0.9
"""A meter whose readings repeat more often than that can't be told from a frozen one."""


def most_alike(bench: BenchDocument) -> dict[str, int]:
    """Return how many equal readings in a row are too many, by channel; others can't be told."""
    found: dict[str, int] = {}
    for name, channel in bench.channels.items():
        if name in bench.typed:
            continue
        resolved = channel.accuracy_at(None)  # a display's step stands in parts of the range
        noise, step = resolved["noise"], resolved["resolution"]
        if noise <= 0.0:
            continue
        likely = step * OVERSTATED / (2 * sqrt(pi) * noise)
        if likely < MOST_LIKELY:
            least = ceil(log(CHANCE) / log(likely)) + 1 if likely > 0.0 else LEAST_ALIKE
            found[name] = max(LEAST_ALIKE, least)
    return found


class FrozenWatch:
    """Count equal raw readings of each channel."""

    def __init__(self, most: Mapping[str, int]) -> None:
        self._most = most
        self._seen: dict[str, tuple[str, int]] = {}

    def check(self, readings: Iterable[Reading]) -> None:
        """Look at readings.

        Raises
        ------
        GuardTripped
            When a channel has repeated itself too often.
        """
        for reading in readings:
            most = self._most.get(reading.channel)
            if most is None or reading.flag:
                continue
            raw, count = self._seen.get(reading.channel, ("", 0))
            count = count + 1 if raw == reading.raw else 1
            self._seen[reading.channel] = (reading.raw, count)
            if count > most:
                raise GuardTripped(
                    f"{reading.channel} read {reading.raw!r} {count} times in a row, to "
                    f"{reading.answered_at:.1f} s, though its noise as the bench document states "
                    f"it allows at most {most}: the meter looks frozen, so its guards are blind.",
                    guard=reading.channel,
                    reason="frozen",
                    at=reading.answered_at,
                )
