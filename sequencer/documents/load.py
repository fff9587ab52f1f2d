"""Load a profile with its unit and bench; the mistakes of all three come at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from sequencer.documents.bench import BenchDocument
from sequencer.documents.find import Kind, NotFoundError, find
from sequencer.documents.flaws import as_mistakes, flaws_of
from sequencer.documents.profile import ProfileDocument
from sequencer.documents.secrets import without_secrets
from sequencer.documents.source import Source as Source  # noqa: PLC0414  # part of the public face
from sequencer.documents.source import kind_of, parse_source, read_source
from sequencer.documents.tables import Strict
from sequencer.documents.unit import UnitDocument
from sequencer.errors import DocumentError, Mistake

MODELS: Mapping[Kind, type[Strict]] = {
    "unit": UnitDocument,
    "bench": BenchDocument,
    "profile": ProfileDocument,
}


@dataclass(frozen=True, slots=True)
class Documents:
    """The three documents of a run, each with where it stood and its text as given."""

    unit: UnitDocument
    bench: BenchDocument
    profile: ProfileDocument
    unit_source: Source
    bench_source: Source
    profile_source: Source


def read_document(source: Source, kind: Kind | None = None) -> Strict:
    """Validate one document.

    Parameters
    ----------
    source
        Path and text.
    kind
        What it must be; by its top table when None.

    Raises
    ------
    DocumentError
        With every mistake in it.
    """
    data = parse_source(source)
    found = kind_of(source, data)
    if kind is not None and found != kind:
        mistake = Mistake(source.path, "(the whole file)", f"a {found} document", f"a {kind}")
        raise DocumentError((mistake,))
    try:
        document = MODELS[found].model_validate(data)
    except ValidationError as error:
        flaws = flaws_of(error, data, MODELS[found].model_fields)
        raise DocumentError(as_mistakes(flaws, source.path, data)) from None
    if isinstance(document, BenchDocument):
        return document.with_dialects_beside(Path(source.path).parent)
    return document


def documents_from(unit: Source, bench: Source, profile: Source) -> Documents:
    """Validate three documents from their texts, as a record holds them.

    Raises
    ------
    DocumentError
        With the mistakes of all three.
    """
    sources: Mapping[Kind, Source] = {"profile": profile, "unit": unit, "bench": bench}
    return together(sources, [])


def load_profile(
    name: str | Path, *, unit: str | None = None, bench: str | None = None
) -> Documents:
    """Load a profile by shipped name or path, with the unit and the bench that it names.

    Parameters
    ----------
    name
        The profile.
    unit, bench
        Take the place of what the profile names; paths are relative to the working directory.

    Raises
    ------
    DocumentError
        With every mistake that the three files hold, and every file that is not there.
    """
    return together(*sources_of(name, unit=unit, bench=bench))


def sources_of(
    name: str | Path, *, unit: str | None = None, bench: str | None = None
) -> tuple[dict[Kind, Source], list[Mistake]]:
    """Return the files that a profile stands for, as in `load_profile`, and which are not there.

    Raises
    ------
    DocumentError
        When the profile itself is not there.
    """
    profile = locate("profile", str(name))
    named = _named(profile)
    sources: dict[Kind, Source] = {"profile": profile}
    mistakes: list[Mistake] = []
    parts: tuple[tuple[Kind, str | None], ...] = (("unit", unit), ("bench", bench))
    for kind, given in parts:
        try:
            if given is not None:
                sources[kind] = locate(kind, given)
            elif kind in named:
                sources[kind] = locate(kind, named[kind], named_in=profile)
        except DocumentError as error:
            mistakes += error.mistakes
    return sources, mistakes


def locate(kind: Kind, name: str, named_in: Source | None = None) -> Source:
    """Find and read a document by shipped name or path.

    Parameters
    ----------
    kind
        What kind of document is looked for.
    name
        Shipped name or path.
    named_in
        The profile that names it, which a relative path starts from; None for the command line.

    Raises
    ------
    DocumentError
        When it is not there or can't be read.
    """
    beside = None if named_in is None else Path(named_in.path).parent
    try:
        return read_source(find(kind, name, beside))
    except NotFoundError as error:
        if named_in is None:
            mistake = Mistake(name, "(the whole file)", error.found, error.expected)
        else:
            mistake = Mistake(named_in.path, f"profile.{kind}", error.found, error.expected)
        raise DocumentError((mistake,)) from None


def _named(profile: Source) -> dict[str, str]:
    """Return what a profile names, as far as that can be read; the rest is reported elsewhere."""
    try:
        table = parse_source(profile).get("profile")
    except DocumentError:
        return {}
    entries = table.items() if isinstance(table, dict) else ()
    return {key: value for key, value in entries if isinstance(value, str)}


def together(sources: Mapping[Kind, Source], mistakes: list[Mistake]) -> Documents:
    """Validate the files of a profile; `mistakes` are those that are known already.

    Raises
    ------
    DocumentError
        With the mistakes of all.
    """
    mistakes = [*mistakes]
    read: dict[Kind, Strict] = {}
    for kind, source in sources.items():
        try:
            read[kind] = read_document(source, kind)
        except DocumentError as error:
            mistakes += error.mistakes
    match read.get("unit"), read.get("bench"), read.get("profile"):
        case UnitDocument() as unit, BenchDocument() as bench, ProfileDocument() as profile:
            if not mistakes:
                written = without_secrets(sources["bench"], bench)
                return Documents(unit, bench, profile, sources["unit"], written, sources["profile"])
    raise DocumentError(tuple(mistakes))
