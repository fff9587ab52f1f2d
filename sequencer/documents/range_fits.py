"""Whether each channel's range can hold what a trial will bring to its meter."""

from collections.abc import Iterable, Iterator

from pydantic import BaseModel

from sequencer.documents.flaws import Flaw
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.documents.ratings import most_current


def too_small_ranges(
    documents: Documents, planned: Iterable[tuple[str, BaseModel]]
) -> Iterator[Flaw]:
    """Yield each channel whose stated range a trial would overrun, with a path in the bench.

    A channel without a range is left to its meter, and to the look at the bench at rest. `planned`
    are the trials' names and settings.
    """
    most = {"V": (0.0, ""), "A": (0.0, "")}
    for trial, settings in planned:
        most["V"] = max(most["V"], (_voltage(settings), trial))
        most["A"] = max(most["A"], (_current(documents, settings), trial))
    for name, channel in documents.bench.channels.items():
        if not name.startswith(("voltage.", "current.")) or channel.range is None:
            continue
        expected, trial = most[channel.unit]
        if channel.range * channel.scale < expected:
            own = "V" if channel.function == "voltage" else "A"
            yield Flaw(
                ("channels", name, "range"),
                f'"{format_quantity(channel.range, own)}"',
                f"at least {format_quantity(expected / channel.scale, own, 3)}, as {trial} reads "
                f"up to {format_quantity(expected, channel.unit, 3)} there",
            )


def _voltage(settings: BaseModel) -> float:
    """Return the greatest voltage that a trial sets, V."""
    found = (getattr(settings, key, None) for key in ("voltage", "voltage_to"))
    return max((one for one in found if isinstance(one, float)), default=0.0)


def _current(documents: Documents, settings: BaseModel) -> float:
    """Return the greatest current that a trial draws, A; one to the limit names none."""
    current = getattr(settings, "current", None)
    if isinstance(current, float):
        return current
    to_the_limit = getattr(settings, "lowest_voltage", None) is not None
    return most_current(documents, anywhere=True) if to_the_limit else 0.0
