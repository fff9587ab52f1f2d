"""What three documents must be together: trials against ratings, channels and roles.

The trials themselves are passed in, by name, so that documents know no trial's code.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from sequencer.documents.channels import TYPED_PERIOD_S
from sequencer.documents.flaws import Flaw, as_mistakes, flaws_of, one_of
from sequencer.documents.guards import DERIVED
from sequencer.documents.load import Documents
from sequencer.documents.parsing import quoted
from sequencer.documents.profile import TrialEntry
from sequencer.documents.quantities import format_quantity
from sequencer.documents.range_fits import too_small_ranges
from sequencer.documents.ratings import above_ratings
from sequencer.documents.source import Source, parse_source
from sequencer.errors import DocumentError, Mistake

SettingsModels = Mapping[str, type[BaseModel]]
Needs = Mapping[str, Sequence[str]]
"""By trial: channels it can't do without; "current." stands for any channel that begins so."""

VOLTAGE = "voltage.sense"

_Settings = TypeVar("_Settings", bound=BaseModel)


def settings_of(entry: TrialEntry, model: type[_Settings]) -> _Settings:
    """Return the validated settings of a trial; `check_whole` has reported its mistakes before."""
    return model.model_validate(dict(entry.settings))


def check_whole(documents: Documents, *, settings: SettingsModels, needs: Needs) -> None:
    """Check three valid documents against each other.

    Parameters
    ----------
    documents
        As loaded.
    settings
        The pydantic model of each known trial's settings, by the trial's name.
    needs
        The channels that each trial can't do without, by the trial's name.

    Raises
    ------
    DocumentError
        With every mistake.
    """
    mistakes = whole_mistakes(documents, settings=settings, needs=needs)
    if mistakes:
        raise DocumentError(mistakes)


def whole_mistakes(
    documents: Documents, *, settings: SettingsModels, needs: Needs
) -> tuple[Mistake, ...]:
    """Return what `check_whole` raises."""
    flaws = [*_guards(documents.profile.guards, documents.bench.channels)]
    for index, entry in enumerate(documents.profile.trials):
        found = _trial(documents, entry, settings, needs)
        flaws += (flaw.under("trials", index) for flaw in found)
    data = parse_source(documents.profile_source)
    return (
        *as_mistakes(flaws, documents.profile_source.path, data),
        *_ranges(documents, settings),
        *_operation(documents),
    )


def trial_mistakes(
    profile: Source, bench: Source | None, settings: SettingsModels, needs: Needs
) -> tuple[Mistake, ...]:
    """Return what is wrong with trials and channel names of a profile that can't be loaded."""
    data = parse_source(profile)
    channels = None if bench is None else _channel_names(bench)
    flaws: list[Flaw] = []
    if channels is not None and isinstance(guards := data.get("guards"), Mapping):
        flaws += _guards(guards, channels)
    entries = data.get("trials")
    for index, one in enumerate(entries if isinstance(entries, list) else ()):
        try:
            entry = TrialEntry.model_validate(one)
        except ValidationError:
            continue  # told where the profile is read
        found = [*_alone(entry, settings)]
        if channels is not None and bench is not None:
            found += _missing(channels, needs.get(entry.trial, ()), bench.path)
            listed = entry.settings.get("channels")
            found += _listed(listed if isinstance(listed, list) else (), channels)
        flaws += (flaw.under("trials", index) for flaw in found)
    return as_mistakes(flaws, profile.path, data)


def _channel_names(bench: Source) -> tuple[str, ...] | None:
    """Return a bench's channels as far as its text can be read."""
    try:
        table = parse_source(bench).get("channels")
    except DocumentError:
        return None  # told where the bench is read
    return tuple(table) if isinstance(table, Mapping) else None


def _trial(
    documents: Documents, entry: TrialEntry, models: SettingsModels, needs: Needs
) -> Iterator[Flaw]:
    channels, wanted = documents.bench.channels, needs.get(entry.trial, ())
    yield from _missing(channels, wanted, documents.bench_source.path)
    yield from _without_accuracy(documents, wanted)
    if flaws := tuple(_alone(entry, models)):
        yield from flaws
        return
    settings = settings_of(entry, models[entry.trial])
    yield from above_ratings(documents, settings)
    yield from _too_quick(documents, settings)
    yield from _listed(getattr(settings, "channels", ()), channels)


def _too_quick(documents: Documents, settings: BaseModel) -> Iterator[Flaw]:
    """Find a trial that reads a typed voltage on and on, faster than anybody types."""
    period = getattr(settings, "period", 0.0)
    if (
        VOLTAGE in documents.bench.typed
        and getattr(settings, "reads_on", False)
        and period < TYPED_PERIOD_S
    ):
        found = f"a reading of {VOLTAGE} every {format_quantity(period, 's')}, typed by a person"
        expected = f"at least {format_quantity(TYPED_PERIOD_S, 's')} (each costs a person a value)"
        yield Flaw(("period",), found, f"{expected}, or this trial left out")


def _alone(entry: TrialEntry, models: SettingsModels) -> Iterator[Flaw]:
    """Find a trial that there isn't, and settings that it does not take."""
    if entry.trial not in models:
        yield Flaw(("trial",), quoted(entry.trial), one_of(models, entry.trial, "a known trial"))
        return
    try:
        settings_of(entry, models[entry.trial])
    except ValidationError as error:
        yield from flaws_of(error, dict(entry.settings), models[entry.trial].model_fields)


def _listed(names: Sequence[object], channels: Collection[str]) -> Iterator[Flaw]:
    for index, channel in enumerate(names):
        if channel not in channels:
            expected = one_of(channels, channel, "a channel of the bench")
            yield Flaw(("channels", index), quoted(channel), expected)


def _missing(channels: Collection[str], needed: Sequence[str], bench: str) -> Iterator[Flaw]:
    for channel in needed:
        if not any(_serves(one, channel) for one in channels):
            what = f"{channel}…" if channel.endswith(".") else channel
            has = f"a bench that has it; {bench} has"
            yield Flaw(
                ("trial",), f"a trial that needs the channel {what}", one_of(channels, channel, has)
            )


def _without_accuracy(documents: Documents, needed: Sequence[str]) -> Iterator[Flaw]:
    bench = documents.bench
    for channel in needed:
        there = next((one for one in bench.channels if _serves(one, channel)), None)
        if there is not None and not bench.channels[there].has_accuracy:
            found = f"a trial that needs {there}, whose accuracy is not stated"
            expected = f'[channels."{there}".accuracy] in {documents.bench_source.path}'
            yield Flaw(("trial",), found, expected)


def _serves(channel: str, needed: str) -> bool:
    return channel == needed or (needed.endswith(".") and channel.startswith(needed))


def _guards(guards: Iterable[str], channels: Collection[str]) -> Iterator[Flaw]:
    for channel in guards:
        if channel not in DERIVED and channel not in channels:
            expected = one_of(channels, channel, "a channel of the bench")
            yield Flaw(("guards", channel), quoted(channel), expected)


def _ranges(documents: Documents, models: SettingsModels) -> tuple[Mistake, ...]:
    """Find channels whose range a trial would overrun."""
    planned = [
        (entry.trial, settings_of(entry, models[entry.trial]))
        for entry in documents.profile.trials
        if not tuple(_alone(entry, models))
    ]
    file = documents.bench_source
    return as_mistakes(too_small_ranges(documents, planned), file.path, parse_source(file))


def _operation(documents: Documents) -> Iterator[Mistake]:
    """Find a unit that nobody and nothing on the bench can operate."""
    file = documents.bench_source.path
    tag = documents.unit.unit.tag
    if documents.unit.unit.control == "hand" and documents.bench.bench.operator == "none":
        expected = f'"terminal" or "instrument": the unit {tag} is operated by hand'
        yield Mistake(file, "bench.operator", '"none"', expected)
    if documents.unit.unit.control == "remote" and not documents.bench.instruments_of("supply"):
        expected = f"one in the role supply: the unit {tag} is under remote control"
        yield Mistake(file, "instruments", "no instrument that sets the unit", expected)
