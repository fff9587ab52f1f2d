"""What a profile's trials and channel names are by themselves, whether or not its files load.

The trials are passed in, by name, so that documents know no trial's code.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from sequencer.documents.flaws import Flaw, as_mistakes, flaws_of, one_of
from sequencer.documents.guards import DERIVED
from sequencer.documents.parsing import quoted
from sequencer.documents.profile import TrialEntry
from sequencer.documents.source import Source, parse_source
from sequencer.errors import DocumentError, Mistake

SettingsModels = Mapping[str, type[BaseModel]]
Needs = Mapping[str, Sequence[str]]
"""By trial: channels it can't do without; "current." stands for any channel that begins so."""

_Settings = TypeVar("_Settings", bound=BaseModel)


def settings_of(entry: TrialEntry, model: type[_Settings]) -> _Settings:
    """Return the validated settings of a trial; `check_whole` has reported its mistakes before."""
    return model.model_validate(dict(entry.settings))


def trial_mistakes(
    profile: Source, bench: Source | None, settings: SettingsModels, needs: Needs
) -> tuple[Mistake, ...]:
    """Return what is wrong with trials and channel names of a profile that can't be loaded."""
    data = parse_source(profile)
    channels = None if bench is None else _channel_names(bench)
    flaws: list[Flaw] = []
    if channels is not None and isinstance(guards := data.get("guards"), Mapping):
        flaws += unknown_guards(guards, channels)
    entries = data.get("trials")
    for index, one in enumerate(entries if isinstance(entries, list) else ()):
        try:
            entry = TrialEntry.model_validate(one)
        except ValidationError:
            continue  # told where the profile is read
        found = [*alone(entry, settings)]
        if channels is not None and bench is not None:
            found += missing(channels, needs.get(entry.trial, ()), bench.path)
            named = entry.settings.get("channels")
            found += listed(named if isinstance(named, list) else (), channels)
        flaws += (flaw.under("trials", index) for flaw in found)
    return as_mistakes(flaws, profile.path, data)


def _channel_names(bench: Source) -> tuple[str, ...] | None:
    """Return a bench's channels as far as its text can be read."""
    try:
        table = parse_source(bench).get("channels")
    except DocumentError:
        return None  # told where the bench is read
    return tuple(table) if isinstance(table, Mapping) else None


def alone(entry: TrialEntry, models: SettingsModels) -> Iterator[Flaw]:
    """Find a trial that there isn't, and settings that it does not take."""
    if entry.trial not in models:
        yield Flaw(("trial",), quoted(entry.trial), one_of(models, entry.trial, "a known trial"))
        return
    try:
        settings_of(entry, models[entry.trial])
    except ValidationError as error:
        yield from flaws_of(error, dict(entry.settings), models[entry.trial].model_fields)


def listed(names: Sequence[object], channels: Collection[str]) -> Iterator[Flaw]:
    """Find channels in a trial's own list that the bench lacks."""
    for index, channel in enumerate(names):
        if channel not in channels:
            expected = one_of(channels, channel, "a channel of the bench")
            yield Flaw(("channels", index), quoted(channel), expected)


def missing(channels: Collection[str], needed: Sequence[str], bench: str) -> Iterator[Flaw]:
    """Find channels that a trial can't do without and the bench lacks."""
    for channel in needed:
        if not any(serves(one, channel) for one in channels):
            what = f"{channel}…" if channel.endswith(".") else channel
            has = f"a bench that has it; {bench} has"
            yield Flaw(
                ("trial",), f"a trial that needs the channel {what}", one_of(channels, channel, has)
            )


def serves(channel: str, needed: str) -> bool:
    """Tell whether a channel is one that is needed."""
    return channel == needed or (needed.endswith(".") and channel.startswith(needed))


def unknown_guards(guards: Iterable[str], channels: Collection[str]) -> Iterator[Flaw]:
    """Find guards on what is neither a channel nor worked out from channels."""
    for channel in guards:
        if channel not in DERIVED and channel not in channels:
            expected = one_of(channels, channel, "a channel of the bench")
            yield Flaw(("guards", channel), quoted(channel), expected)
