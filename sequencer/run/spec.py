"""From the bench document to what the drivers need; addresses of a simulation fill in."""

from collections.abc import Mapping

from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.documents.bench import BenchDocument
from sequencer.errors import UsageError


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
            )
            for name, entry in bench.channels.items()
        ),
        operator=bench.bench.operator,
        options={"backend": bench.bench.backend},
    )


def _address(name: str, addresses: Mapping[str, str]) -> str:
    if name not in addresses:
        raise UsageError(
            f"The bench document names the instrument {name!r}, but the simulated bench has "
            f"{', '.join(sorted(addresses))}. Use one of these names, or give the scenario one "
            "more instrument."
        )
    return addresses[name]
