"""Check documents on their own and, for a profile, together with what it names."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from sequencer.documents.bench import BenchDocument
from sequencer.documents.calibration_days import calibration_mistakes
from sequencer.documents.find import KINDS, Kind, is_path, shipped
from sequencer.documents.flaws import one_of
from sequencer.documents.load import Documents, locate, read_document, sources_of, together
from sequencer.documents.parsing import quoted
from sequencer.documents.promises import promise_mistakes
from sequencer.documents.source import Source, kind_of, parse_source
from sequencer.documents.trial_names import Needs, SettingsModels, trial_mistakes
from sequencer.documents.unit import UnitDocument
from sequencer.documents.whole import whole_mistakes
from sequencer.errors import DocumentError, Mistake

InstrumentCheck = Callable[[Mapping[str, Any], str, Iterable[str]], tuple[Mistake, ...]]
"""What the drivers find wrong with the instruments of a bench's raw table from a path, where trials
use the load in the modes given."""


def no_drivers(data: Mapping[str, Any], path: str, modes: Iterable[str]) -> tuple[Mistake, ...]:
    """Leave out what drivers would say."""
    del data, path, modes
    return ()


def check_files(
    names: Iterable[str | Path],
    *,
    settings: SettingsModels,
    needs: Needs,
    instruments: InstrumentCheck = no_drivers,
) -> tuple[Mistake, ...]:
    """Return the mistakes of all named documents, each once.

    Parameters
    ----------
    names
        Paths, or shipped names of any kind of document.
    settings, needs
        What the known trials may be told and can't do without (`sequencer.documents.whole`).
    instruments
        What the drivers say about a bench.

    Notes
    -----
    A profile is checked together with its unit and bench: mistakes of these are listed too.
    """
    mistakes: dict[Mistake, None] = {}
    for name in names:
        try:
            source = locate_any(str(name))
            if kind_of(source, parse_source(source)) == "profile":
                sources, missing = sources_of(name)
                found, _ = profile_mistakes(sources, missing, settings, needs, instruments)
            else:
                found = _alone(source, instruments)
        except DocumentError as error:
            found = error.mistakes
        mistakes |= dict.fromkeys(found)
    return tuple(mistakes)


def profile_mistakes(
    sources: Mapping[Kind, Source],
    missing: list[Mistake],
    settings: SettingsModels,
    needs: Needs,
    instruments: InstrumentCheck,
) -> tuple[tuple[Mistake, ...], Documents | None]:
    """Return every mistake in and between the files of a profile, and the documents if they load.

    What stands in one file is looked at even where another one can't be used.
    """
    documents: Documents | None = None
    bench = sources.get("bench")
    try:
        documents = together(sources, missing)
        found = whole_mistakes(documents, settings=settings, needs=needs)
    except DocumentError as error:
        found = error.mistakes
        profile = sources["profile"]
        found += _if_readable(lambda: trial_mistakes(profile, bench, settings, needs))
    if bench is not None:
        modes = _load_modes(documents, settings)
        found += _if_readable(lambda: instruments(parse_source(bench), bench.path, modes))
    return tuple(dict.fromkeys(found)), documents


def _load_modes(documents: Documents | None, settings: SettingsModels) -> frozenset[str]:
    """Return the modes in which the trials use the load, where they name any."""
    names = () if documents is None else tuple(one.trial for one in documents.profile.trials)
    return frozenset(
        mode for name in names for mode in getattr(settings.get(name), "load_modes", ())
    )


def _alone(source: Source, instruments: InstrumentCheck) -> tuple[Mistake, ...]:
    found: tuple[Mistake, ...] = ()
    try:
        document = read_document(source)
        if isinstance(document, UnitDocument):
            found = promise_mistakes(document, source)
        elif isinstance(document, BenchDocument):
            found = calibration_mistakes(document, source)
    except DocumentError as error:
        found = error.mistakes
    data = parse_source(source)
    return (*found, *instruments(data, source.path, ())) if "instruments" in data else found


def _if_readable(look: Callable[[], tuple[Mistake, ...]]) -> tuple[Mistake, ...]:
    """Look into a file that may not even be TOML, which has been told then."""
    try:
        return look()
    except DocumentError:
        return ()


def locate_any(name: str) -> Source:
    """Find a document of any kind.

    Raises
    ------
    DocumentError
        When it is neither shipped nor a file.
    """
    known = {one: kind for kind in reversed(KINDS) for one in shipped(kind)}
    if name not in known and not is_path(name):
        expected = one_of(known, name, "the path of a file, or a shipped document")
        raise DocumentError((Mistake(name, "(the whole file)", quoted(name), expected),))
    return locate(known.get(name, "profile"), name)
