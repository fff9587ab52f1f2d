"""What three documents must be together: trials against ratings, channels and roles.

The trials themselves are passed in, by name, so that documents know no trial's code.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from sequencer.documents.flaws import Flaw, as_mistakes, flaws_of, one_of
from sequencer.documents.guards import DERIVED
from sequencer.documents.load import Documents
from sequencer.documents.parsing import quoted
from sequencer.documents.profile import TrialEntry
from sequencer.documents.ratings import above_ratings
from sequencer.documents.source import parse_source
from sequencer.errors import DocumentError, Mistake

SettingsModels = Mapping[str, type[BaseModel]]
Needs = Mapping[str, Sequence[str]]
"""By trial: channels it can't do without; "current." stands for any channel that begins so."""

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
    flaws = [*_guards(documents)]
    for index, entry in enumerate(documents.profile.trials):
        found = _trial(documents, entry, settings, needs)
        flaws += (flaw.under("trials", index) for flaw in found)
    data = parse_source(documents.profile_source)
    return (
        *as_mistakes(flaws, documents.profile_source.path, data),
        *_operation(documents),
    )


def _trial(
    documents: Documents, entry: TrialEntry, models: SettingsModels, needs: Needs
) -> Iterator[Flaw]:
    if entry.trial not in models:
        yield Flaw(("trial",), quoted(entry.trial), one_of(models, entry.trial, "a known trial"))
        return
    channels = needs.get(entry.trial, ())
    yield from _channels(documents, channels)
    data = dict(entry.settings)
    try:
        settings = settings_of(entry, models[entry.trial])
    except ValidationError as error:
        yield from flaws_of(error, data, models[entry.trial].model_fields)
        return
    yield from above_ratings(documents, settings)
    for index, channel in enumerate(getattr(settings, "channels", ())):
        if channel not in documents.bench.channels:
            expected = one_of(documents.bench.channels, channel, "a channel of the bench")
            yield Flaw(("channels", index), quoted(channel), expected)


def _channels(documents: Documents, needed: Sequence[str]) -> Iterator[Flaw]:
    """Find channels that the bench lacks, or says nothing about the accuracy of."""
    bench = documents.bench
    for channel in needed:
        there = [c for c in bench.channels if c == channel or _begins(c, channel)]
        what = f"{channel}…" if channel.endswith(".") else channel
        if not there:
            found = f"a trial that needs the channel {what}"
            expected = f"a bench that has it; {documents.bench_source.path} has "
            yield Flaw(("trial",), found, expected + ", ".join(bench.channels))
        elif not bench.channels[there[0]].has_accuracy:
            found = f"a trial that needs {there[0]}, whose accuracy is not stated"
            expected = f'[channels."{there[0]}".accuracy] in {documents.bench_source.path}'
            yield Flaw(("trial",), found, expected)


def _begins(channel: str, needed: str) -> bool:
    return needed.endswith(".") and channel.startswith(needed)


def _guards(documents: Documents) -> Iterator[Flaw]:
    for channel in documents.profile.guards:
        if channel not in DERIVED and channel not in documents.bench.channels:
            expected = one_of(documents.bench.channels, channel, "a channel of the bench")
            yield Flaw(("guards", channel), quoted(channel), expected)


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
