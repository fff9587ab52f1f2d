"""Ranges that are not as they were asked for: said in the record, and counted with.

A meter takes the range that holds what was asked for, which may be a larger one. What a data sheet
states in parts of the range, or in digits, then counts on the larger one.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.record.write import RecordWriter
from sequencer.results import Event
from sequencer.run.event_kinds import RANGE

OWN_UNITS = {"voltage": "V", "current": "A", "temperature": "K"}


def note_ranges(bench: Bench, documents: Documents, writer: RecordWriter) -> None:
    """Write down each channel's range in use where it is not the one asked for."""
    for name, in_use in bench.ranges().items():
        channel = documents.bench.channels.get(name)
        if channel is None:
            continue
        unit = OWN_UNITS.get(channel.function, "1")
        asked = "" if channel.range is None else format_quantity(channel.range, unit)
        writer.event(
            bench.clock.stamp(),
            RANGE,
            "note",
            f"{name}: a range of {asked} was asked for, {format_quantity(in_use, unit)} is in use. "
            "What its accuracy states in parts of the range or in digits counts on that.",
            {"channel": name, "range": in_use},
        )


def ranges_of(events: Iterable[Event]) -> dict[str, float]:
    """Return by channel the range in use that a record holds, where it is not the one asked for."""
    return {
        str(event.detail["channel"]): float(event.detail["range"])
        for event in events
        if event.kind == RANGE and {"channel", "range"} <= event.detail.keys()
    }


def with_ranges(documents: Documents, in_use: Mapping[str, float]) -> Documents:
    """Return documents whose channels have the ranges in use in place of those asked for."""
    if not in_use:
        return documents
    channels = {
        name: one.model_copy(update={"range": in_use[name]}) if name in in_use else one
        for name, one in documents.bench.channels.items()
    }
    bench = documents.bench.model_copy(update={"channels": channels})
    return replace(documents, bench=bench)
