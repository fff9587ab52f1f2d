"""Load a profile's documents with every check there is, for the commands that need a run."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sequencer.documents.bench import BenchDocument
from sequencer.documents.check import profile_mistakes
from sequencer.documents.load import Documents, sources_of
from sequencer.documents.whole import Needs, SettingsModels
from sequencer.errors import DocumentError, Mistake, UsageError
from sequencer.run.spec import dialect_mistakes, spec_mistakes
from sequencer.trials.registry import trials


def load_checked(profile: str, *, unit: str | None, bench: str | None) -> Documents:
    """Return the documents of a run.

    Raises
    ------
    DocumentError
        With every mistake in the three files and between them.
    """
    sources, missing = sources_of(profile, unit=unit, bench=bench)
    settings, needs = of_trials()
    mistakes, documents = profile_mistakes(sources, missing, settings, needs, instrument_mistakes)
    if mistakes or documents is None:
        raise DocumentError(mistakes)
    return documents


def of_trials() -> tuple[SettingsModels, Needs]:
    """Return what each known trial may be told, and which channels it needs."""
    known = trials()
    return (
        {name: trial.settings for name, trial in known.items()},
        {name: trial.needs for name, trial in known.items()},
    )


def instrument_mistakes(
    data: Mapping[str, Any], path: str, modes: Iterable[str] = ()
) -> tuple[Mistake, ...]:
    """Return what the drivers find wrong with a bench, as far as its table can be understood.

    `modes` are those in which the trials use the load.
    """
    found = dialect_mistakes(data, path)
    try:
        bench = BenchDocument.model_validate(data).with_dialects_beside(Path(path).parent)
    except ValidationError:
        return found  # told where the document is read
    known = {one.key_path for one in found}
    return (
        *found,
        *(one for one in spec_mistakes(bench, path, modes) if one.key_path not in known),
    )


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
