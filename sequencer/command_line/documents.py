"""Load a profile's documents with every check there is, for the commands that need a run."""

from collections.abc import Iterable
from dataclasses import replace

from sequencer.documents.bench import BenchDocument
from sequencer.documents.check import locate_any
from sequencer.documents.load import Documents, load_profile, read_document
from sequencer.documents.source import Source, kind_of, parse_source
from sequencer.documents.whole import check_whole
from sequencer.errors import DocumentError, Mistake, UsageError
from sequencer.run.spec import spec_mistakes
from sequencer.trials.registry import trials


def load_checked(profile: str, *, unit: str | None, bench: str | None) -> Documents:
    """Return the documents of a run.

    Raises
    ------
    DocumentError
        With every mistake in the three files and between them.
    """
    documents = load_profile(profile, unit=unit, bench=bench)
    known = trials()
    check_whole(
        documents,
        settings={name: trial.settings for name, trial in known.items()},
        needs={name: trial.needs for name, trial in known.items()},
    )
    mistakes = spec_mistakes(documents.bench, documents.bench_source.path)
    if mistakes:
        raise DocumentError(mistakes)
    return documents


def bench_mistakes(names: Iterable[str]) -> tuple[Mistake, ...]:
    """Return what the drivers find wrong with the benches among documents, themselves or named."""
    found: dict[Mistake, None] = {}
    for name in names:
        try:
            source, bench = _bench_of(name)
        except DocumentError:
            continue  # its mistakes are told where documents are read
        if bench is not None:
            found |= dict.fromkeys(spec_mistakes(bench, source.path))
    return tuple(found)


def _bench_of(name: str) -> tuple[Source, BenchDocument | None]:
    source = locate_any(name)
    kind = kind_of(source, parse_source(source))
    if kind == "profile":
        documents = load_profile(name)
        return documents.bench_source, documents.bench
    document = read_document(source)
    return source, document if isinstance(document, BenchDocument) else None


def with_simulation(documents: Documents, scenario: str | None, seed: int | None) -> Documents:
    """Return the documents with another scenario or seed, where the bench is simulated.

    Raises
    ------
    UsageError
        When the bench is not one that the run starts itself.
    """
    if scenario is None and seed is None:
        return documents
    simulation = documents.bench.simulation
    if simulation is None:
        raise UsageError(
            f"--scenario and --seed are for a simulated bench, but {documents.bench_source.path} "
            "has no [simulation] table: its instruments are where its addresses say. Leave the "
            "options out, or choose another bench with --bench."
        )
    changed = simulation.model_copy(
        update={
            key: value
            for key, value in (("scenario", scenario), ("seed", seed))
            if value is not None
        }
    )
    return replace(documents, bench=documents.bench.model_copy(update={"simulation": changed}))
