"""What was spoken with each instrument: kept in the record, and compared before a run goes on."""

from collections.abc import Mapping

from drivers.errors import InstrumentError
from drivers.resolved import driver_packages, resolved_dialects, same_dialect
from sequencer.dialect_words import KIND
from sequencer.documents.bench import BenchDocument
from sequencer.errors import UsageError
from sequencer.run.spec import bench_spec
from sequencer.versions import versions


def spoken(bench: BenchDocument) -> dict[str, tuple[str, str]]:
    """Return the resolved dialects of a bench as documents for its record."""
    return {KIND + name: one for name, one in resolved_dialects(bench_spec(bench)).items()}


def software(bench: BenchDocument) -> Mapping[str, str]:
    """Return names and versions of what measures with a bench, drivers in Python included."""
    return {**versions(), **driver_packages(bench_spec(bench))}


def refuse_other_words(bench: BenchDocument, found: Mapping[str, tuple[str, str]]) -> None:
    """Refuse unless each instrument of a record is still spoken to in the same way.

    A record that was made before dialects were kept is let pass.

    Raises
    ------
    UsageError
        With the instrument and its dialect.
    """
    kept = {k.removeprefix(KIND): v for k, v in found.items() if k.startswith(KIND)}
    try:
        now = resolved_dialects(bench_spec(bench)) if kept else {}
    except InstrumentError as error:
        raise UsageError(
            f"{error} The record's readings can't be continued without it. Nothing was energised."
        ) from error
    for name, (path, text) in kept.items():
        try:
            same = name in now and same_dialect(text, now[name][1])
        except ValueError:
            same = False
        if not same:
            raise UsageError(
                f"{name} was spoken to by the dialect {path}, which is not the same now: its "
                "readings can't be continued. Nothing was energised. Bring the dialect back as "
                "it was (the record holds it), or start a new run."
            )
