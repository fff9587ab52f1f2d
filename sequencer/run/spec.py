"""From the bench document to what the drivers need; addresses of a simulation fill in."""

from collections.abc import Mapping

from drivers.connect import spec_faults
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.documents.bench import BenchDocument
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
            )
            for name, entry in bench.channels.items()
        ),
        operator=bench.bench.operator,
        options={"backend": bench.bench.backend},
    )


def spec_mistakes(bench: BenchDocument, path: str) -> tuple[Mistake, ...]:
    """Return what the drivers find wrong with a bench before anything is opened.

    Unknown dialects, mistakes in them, roles that they aren't for, and questions and settings that
    they lack for a channel.
    """
    found = []
    for fault in spec_faults(bench_spec(bench)):
        remedy = fault.remedy[:1].lower() + fault.remedy[1:].rstrip(".")
        found.append(
            Mistake(
                path,
                f"instruments.{fault.instrument}.dialect",
                f"a dialect that does not fit ({fault.found})",
                f"one that does ({remedy})",
            )
        )
    return tuple(found)


def _address(name: str, addresses: Mapping[str, str]) -> str:
    if name not in addresses:
        raise UsageError(
            f"The bench document names the instrument {name!r}, but the simulated bench has "
            f"{', '.join(sorted(addresses))}. Use one of these names, or give the scenario one "
            "more instrument."
        )
    return addresses[name]
