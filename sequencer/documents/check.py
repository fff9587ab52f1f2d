"""Check documents on their own and, for a profile, together with what it names."""

from collections.abc import Iterable
from pathlib import Path

from sequencer.documents.find import KINDS, Kind, shipped
from sequencer.documents.load import load_profile, locate, read_document
from sequencer.documents.source import Source, kind_of, parse_source
from sequencer.documents.whole import Needs, SettingsModels, whole_mistakes
from sequencer.errors import DocumentError, Mistake


def check_files(
    names: Iterable[str | Path], *, settings: SettingsModels, needs: Needs
) -> tuple[Mistake, ...]:
    """Return the mistakes of all named documents, each once.

    Parameters
    ----------
    names
        Paths, or shipped names of any kind of document.
    settings, needs
        What the known trials may be told and can't do without (`sequencer.documents.whole`).

    Notes
    -----
    A profile is checked together with its unit and bench: mistakes of these are listed too.
    """
    mistakes: dict[Mistake, None] = {}
    for name in names:
        try:
            found = _one(str(name), settings, needs)
        except DocumentError as error:
            found = error.mistakes
        mistakes |= dict.fromkeys(found)
    return tuple(mistakes)


def _one(name: str, settings: SettingsModels, needs: Needs) -> tuple[Mistake, ...]:
    source = locate_any(name)
    if kind_of(source, parse_source(source)) != "profile":
        read_document(source)
        return ()
    return whole_mistakes(load_profile(name), settings=settings, needs=needs)


def locate_any(name: str) -> Source:
    """Find a document of any kind; one that is nowhere is looked for as a profile."""
    kinds: list[Kind] = [kind for kind in KINDS if name in shipped(kind)]
    return locate(kinds[0] if kinds else "profile", name)
