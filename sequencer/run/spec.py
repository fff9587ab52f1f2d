"""From the bench document to what the drivers need; addresses of a simulation fill in."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, get_args

from drivers.connect import dialect_fault, modes_lacking, spec_faults
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.documents.bench import BenchDocument, Role
from sequencer.errors import Mistake, UsageError


def bench_spec(bench: BenchDocument, addresses: Mapping[str, str] | None = None) -> BenchSpec:
    """Return the drivers' view of a bench.

    Parameters
    ----------
    addresses
        Of a simulated bench that has just been started: instrument name → address, in place of
        the document's.

    Raises
    ------
    UsageError
        When the simulated bench has no instrument of a name that the document gives.
    """
    return BenchSpec(
        instruments=tuple(
            InstrumentSpec(
                name=name,
                role=entry.role,
                dialect=entry.dialect,
                address=entry.address if addresses is None else _address(name, addresses),
                identity=entry.identity,
                timeout_s=entry.timeout,
                link=entry.link.given(),
            )
            for name, entry in bench.instruments.items()
            if entry.operator is None
        ),
        channels=tuple(
            ChannelSpec(
                name=name,
                instrument=entry.instrument,
                function=entry.function,
                unit=entry.unit,
                range_max=entry.range,
                integration_s=entry.integration,
                input=entry.input,
                scale=entry.scale,
                through=entry.through,
                settling_s=entry.settling_s,
                reference=entry.reference,
            )
            for name, entry in bench.channels.items()
            if name not in bench.typed
        ),
        operator=bench.bench.operator,
        options={"backend": bench.bench.backend},
        typed={name: bench.channels[name].unit for name in sorted(bench.typed)},
    )


def spec_mistakes(
    bench: BenchDocument, path: str, modes: Iterable[str] = ()
) -> tuple[Mistake, ...]:
    """Return what the drivers find wrong with a bench before anything is opened.

    Unknown dialects, mistakes in them, roles that they aren't for, questions and settings that
    they lack for a channel, and those of `modes`, in which the trials use the load, that it lacks.
    """
    faults = spec_faults(bench_spec(bench))
    found = [_misfit(path, one.instrument, one.found, one.remedy) for one in faults]
    for name in bench.instruments_of("load"):
        dialect = bench.instruments[name].dialect
        if lacking := modes_lacking(dialect, sorted(modes)):
            words = " and ".join(f"constant {mode}" for mode in lacking)
            has = f"dialect {dialect!r} has no level of {words}"
            remedy = (
                f"Use or write a dialect that has {words}, or leave out the trials that use it."
            )
            found.append(_misfit(path, name, has, remedy))
    return tuple(found)


def dialect_mistakes(data: Mapping[str, Any], path: str) -> tuple[Mistake, ...]:
    """Return which dialects of a bench's raw table don't exist, have mistakes, or fit no role.

    Raw, so that they are found together with mistakes that leave no valid document.
    """
    table = data.get("instruments")
    instruments = table if isinstance(table, Mapping) else {}
    found = []
    for name, one in instruments.items():
        dialect = one.get("dialect") if isinstance(one, Mapping) else None
        if not isinstance(dialect, str) or not dialect:
            continue
        own = (
            str((Path(path).parent / dialect).absolute()) if dialect.endswith(".toml") else dialect
        )
        role = one.get("role") if one.get("role") in get_args(Role) else None
        if (fault := dialect_fault(own, role)) is not None:
            found.append(_misfit(path, name, *fault))
    return tuple(found)


def _misfit(path: str, instrument: str, found: str, remedy: str) -> Mistake:
    wanted = remedy[:1].lower() + remedy[1:].rstrip(".")
    return Mistake(
        path,
        f"instruments.{instrument}.dialect",
        f"a dialect that does not fit ({found})",
        f"one that does ({wanted})",
    )


def _address(name: str, addresses: Mapping[str, str]) -> str:
    if name not in addresses:
        raise UsageError(
            f"The bench document names the instrument {name!r}, but the simulated bench has "
            f"{', '.join(sorted(addresses))}. Use one of these names, or give the scenario one "
            "more instrument."
        )
    return addresses[name]
