"""Put a run's result together from its record; every output reads what comes out here."""

from collections.abc import Mapping
from pathlib import Path

from sequencer.cautions import CAUTIONS
from sequencer.documents.bench import BenchDocument
from sequencer.documents.channels import BenchChannel
from sequencer.documents.load import documents_from
from sequencer.documents.quantities import format_quantity
from sequencer.documents.source import Source
from sequencer.documents.unit import UnitDocument
from sequencer.errors import Exit
from sequencer.judging import Judged, judge_evidence
from sequencer.record.read import RecordReader
from sequencer.result import BenchSummary, ChannelRow, InstrumentRow, Result, UnitSummary
from sequencer.results import Event
from sequencer.run.session import STOPPED
from sequencer.verdicts.outcome import outcome

STOPPED_WORDS: Mapping[int, str] = {
    Exit.GUARD: "stopped by a guard",
    Exit.INSTRUMENT: "stopped by a failed instrument",
    Exit.INTERRUPTED: "interrupted",
}


def result_of(path: Path) -> Result:
    """Compute the result of a record from the file alone.

    Raises
    ------
    RecordError
        When the file is no record, damaged, or from a newer version.
    """
    with RecordReader.open(path) as reader:
        documents = documents_from(
            *(Source(*reader.documents[kind]) for kind in ("unit", "bench", "profile"))
        )
        steps = [reader.steps(number) for number in range(len(documents.profile.trials))]
        judged = judge_evidence(documents, steps)
        events = reader.events
        words, code, notes = _outcome(judged, events, ended=bool(reader.ended))
        return Result(
            record=str(path),
            profile=documents.profile.profile.name,
            started=reader.started,
            ended=reader.ended,
            software=reader.versions,
            unit=unit_summary(documents.unit),
            bench=bench_summary(documents.bench, reader.identities),
            rule=documents.profile.profile.rule,
            outcome=words,
            exit=int(code),
            figures=judged.figures,
            verdicts=judged.verdicts,
            charts=judged.charts,
            events=events,
            cautions=CAUTIONS,
            notes=(*notes, *judged.notes),
        )


def _outcome(
    judged: Judged, events: tuple[Event, ...], *, ended: bool
) -> tuple[str, Exit, tuple[str, ...]]:
    """Return outcome, exit code and remarks; what stopped a run weighs more than its verdicts."""
    sentence, code = outcome(judged.verdicts)
    words = sentence.partition(":")[0]
    for event in events:
        if event.kind == STOPPED:
            stopped_by = Exit(int(event.detail.get("exit", Exit.UNDECIDED)))
            if stopped_by in STOPPED_WORDS:
                return STOPPED_WORDS[stopped_by], stopped_by, (event.text,)
            if code != Exit.FAILED:
                return "not completed", Exit.UNDECIDED, (event.text,)
            return words, code, (event.text,)
    if not ended and code == Exit.PASSED:
        return "not completed", Exit.UNDECIDED, ("The record was never finished.",)
    return words, code, ()


def unit_summary(unit: UnitDocument) -> UnitSummary:
    """Return the unit in words."""
    ratings = unit.ratings
    return UnitSummary(
        tag=unit.unit.tag,
        description=unit.unit.description,
        ratings=(
            ("Voltage", format_quantity(ratings.voltage, "V")),
            ("Current", format_quantity(ratings.current, "A")),
            (
                "Line",
                f"{format_quantity(ratings.line_voltage, 'V')}, "
                f"{format_quantity(ratings.line_frequency, 'Hz')}",
            ),
            ("Control", unit.unit.control),
            ("Sense terminals", "yes" if unit.unit.sense_terminals else "no"),
            ("Warm-up", format_quantity(unit.unit.warm_up, "s")),
        ),
    )


def bench_summary(bench: BenchDocument, identities: Mapping[str, str]) -> BenchSummary:
    """Return the bench in words."""
    return BenchSummary(
        name=bench.bench.name,
        description=bench.bench.description,
        instruments=tuple(
            InstrumentRow(name, entry.role, entry.address, identities.get(name, ""))
            for name, entry in bench.instruments.items()
        ),
        channels=tuple(channel_row(name, entry) for name, entry in bench.channels.items()),
    )


def channel_row(name: str, channel: BenchChannel) -> ChannelRow:
    """Return one channel in words."""
    unit = {"voltage": "V", "current": "A", "temperature": "K"}[channel.function]
    span = getattr(channel, "range", None)
    return ChannelRow(
        channel=name,
        instrument=channel.instrument,
        range="" if span is None else format_quantity(span, unit),
        integration=""
        if channel.integration is None
        else format_quantity(channel.integration, "s"),
        accuracy=accuracy_words(channel, unit),
    )


def accuracy_words(channel: BenchChannel, unit: str) -> str:
    """Return an accuracy statement in words, component by component."""
    units = {
        "gain": "%",
        "stability_gain": "%",
        "shunt_tolerance": "%",
        "temperature_gain": "1/K",
        "shunt_temperature": "1/K",
        "temperature_span": "K",
        "temperature_offset": f"{unit}/K",
        "thermal_emf": "V",
    }
    parts = [
        f"{key.replace('_', ' ')} {format_quantity(value, units.get(key, unit))}"
        for key, value in dict(channel.accuracy).items()
        if value
    ]
    if channel.shunt is not None:
        parts.insert(0, f"shunt {format_quantity(channel.shunt, 'ohm')}")
    return ", ".join(parts)
