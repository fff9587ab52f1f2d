"""Gather the guards of a run: from bench, profile and the load's ratings."""

from collections.abc import Iterator, Mapping
from math import inf

from sequencer.documents.bench import BenchDocument
from sequencer.documents.guards import Guard
from sequencer.documents.profile import ProfileDocument
from sequencer.run.guards import GuardBound, tightest


def guard_bounds(bench: BenchDocument, profile: ProfileDocument) -> tuple[GuardBound, ...]:
    """Return one joined bound per guarded channel; the tightest of each kind wins.

    Every voltage and current channel is guarded by the load's ratings, asked for or not.
    """
    return tightest(
        (
            *_declared(bench.guards, "the bench document"),
            *_declared(profile.guards, "the profile"),
            *_ratings(bench),
        )
    )


def _declared(guards: Mapping[str, Guard], source: str) -> Iterator[GuardBound]:
    for channel, guard in guards.items():
        yield GuardBound(
            channel=channel,
            at_least=-inf if guard.at_least is None else guard.at_least,
            at_most=inf if guard.at_most is None else guard.at_most,
            rate_at_most=inf if guard.rate_at_most is None else guard.rate_at_most,
            source=source,
        )


def _ratings(bench: BenchDocument) -> Iterator[GuardBound]:
    for channel in bench.channels:
        if channel.startswith("voltage."):
            yield GuardBound(channel, at_most=bench.load.voltage, source="the load's rating")
        elif channel.startswith("current."):
            yield GuardBound(channel, at_most=bench.load.current, source="the load's rating")
