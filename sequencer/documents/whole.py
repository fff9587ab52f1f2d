"""What three documents must be together: trials against ratings, channels and roles.

The trials themselves are passed in, by name, so that documents know no trial's code.
"""

from collections.abc import Iterator, Sequence

from pydantic import BaseModel

from sequencer.documents.calibration_days import calibration_mistakes
from sequencer.documents.channels import TYPED_PERIOD_S
from sequencer.documents.flaws import Flaw, as_mistakes
from sequencer.documents.load import Documents
from sequencer.documents.profile import TrialEntry
from sequencer.documents.promises import promise_mistakes
from sequencer.documents.quantities import format_quantity
from sequencer.documents.range_fits import too_small_ranges
from sequencer.documents.ratings import above_ratings
from sequencer.documents.source import parse_source
from sequencer.documents.trial_names import Needs as Needs  # noqa: PLC0414  # part of the public face
from sequencer.documents.trial_names import SettingsModels as SettingsModels  # noqa: PLC0414
from sequencer.documents.trial_names import alone, listed, missing, serves, unknown_guards
from sequencer.documents.trial_names import settings_of as settings_of  # noqa: PLC0414
from sequencer.errors import DocumentError, Mistake

VOLTAGE = "voltage.sense"


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
    flaws = [*unknown_guards(documents.profile.guards, documents.bench.channels)]
    for index, entry in enumerate(documents.profile.trials):
        found = _trial(documents, entry, settings, needs)
        flaws += (flaw.under("trials", index) for flaw in found)
    data = parse_source(documents.profile_source)
    return (
        *as_mistakes(flaws, documents.profile_source.path, data),
        *promise_mistakes(documents.unit, documents.unit_source),
        *_ranges(documents, settings),
        *calibration_mistakes(documents.bench, documents.bench_source),
        *_operation(documents),
    )


def _trial(
    documents: Documents, entry: TrialEntry, models: SettingsModels, needs: Needs
) -> Iterator[Flaw]:
    channels, wanted = documents.bench.channels, needs.get(entry.trial, ())
    yield from missing(channels, wanted, documents.bench_source.path)
    yield from _without_accuracy(documents, wanted)
    if flaws := tuple(alone(entry, models)):
        yield from flaws
        return
    settings = settings_of(entry, models[entry.trial])
    yield from above_ratings(documents, settings)
    yield from _too_quick(documents, settings)
    yield from listed(getattr(settings, "channels", ()), channels)


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


def _without_accuracy(documents: Documents, needed: Sequence[str]) -> Iterator[Flaw]:
    bench = documents.bench
    for channel in needed:
        there = next((one for one in bench.channels if serves(one, channel)), None)
        if there is not None and not bench.channels[there].has_accuracy:
            found = f"a trial that needs {there}, whose accuracy is not stated"
            expected = f'[channels."{there}".accuracy] in {documents.bench_source.path}'
            yield Flaw(("trial",), found, expected)


def _ranges(documents: Documents, models: SettingsModels) -> tuple[Mistake, ...]:
    """Find channels whose range a trial would overrun."""
    planned = [
        (entry.trial, settings_of(entry, models[entry.trial]))
        for entry in documents.profile.trials
        if not tuple(alone(entry, models))
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
