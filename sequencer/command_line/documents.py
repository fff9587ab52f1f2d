"""Load a profile's documents with every check there is, for the commands that need a run."""

from dataclasses import replace

from sequencer.documents.load import Documents, load_profile
from sequencer.documents.whole import check_whole
from sequencer.errors import UsageError
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
    return documents


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
