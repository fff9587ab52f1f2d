"""Put a run's result together from its record; every output reads what comes out here."""

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

from sequencer.after_guard import advice
from sequencer.cautions import CAUTIONS
from sequencer.dialect_words import dialect_words
from sequencer.documents.bench import BenchDocument
from sequencer.documents.channels import BenchChannel
from sequencer.documents.load import documents_from
from sequencer.documents.quantities import format_quantity
from sequencer.documents.source import Source
from sequencer.documents.unit import UnitDocument
from sequencer.errors import Exit, RecordError
from sequencer.judging import Judged, judge_evidence
from sequencer.record.read import RecordReader
from sequencer.record.seal import NO_CHAIN, verify
from sequencer.result import BenchSummary, ChannelRow, InstrumentRow, Result, UnitSummary
from sequencer.results import Event, Tripped
from sequencer.run.event_kinds import MAKE_SAFE, RESUMED, STOPPED
from sequencer.run.ranges import ranges_of, with_ranges
from sequencer.verdicts.outcome import outcome

STOPPED_WORDS: Mapping[int, str] = {
    Exit.GUARD: "stopped by a guard",
    Exit.INSTRUMENT: "stopped by a failed instrument",
    Exit.INTERRUPTED: "interrupted",
}

NOT_SAFE = "not made safe"
"""Weighs more than verdicts and than what stopped the run: a person has to act at the bench."""

ALTERED = ("record altered", Exit.WRONG_USE)
"""Verdicts from a record that was changed after it was written are worth nothing."""

KINDS = ("unit", "bench", "profile")


def result_of(path: Path) -> Result:
    """Compute the result of a record from the file alone.

    Raises
    ------
    RecordError
        When the file is no record, damaged, or from a newer version.
    """
    with RecordReader.open(path) as reader:
        given = documents_from(*(_source(reader, kind) for kind in KINDS))
        documents = with_ranges(given, ranges_of(reader.events))
        steps = [reader.steps(number) for number in range(len(documents.profile.trials))]
        judged = judge_evidence(documents, steps, _day(reader.started))
        events = reader.events
        words, code, notes = _outcome(judged, events, ended=bool(reader.ended))
        alarm = _alarm(events)
        if alarm:
            words = f"{words}, {NOT_SAFE}" if code in STOPPED_WORDS else NOT_SAFE
            code = Exit.INSTRUMENT
        found = verify(path)
        if found.altered:
            words, code = ALTERED
            alarm = (
                "The record was altered after it was written: nothing in it can be relied on. "
                + " ".join(found.remarks)
            )
        elif not found.sealed and found.unbroken is None:
            notes = (*notes, NO_CHAIN)
        return Result(
            record=str(path),
            profile=documents.profile.profile.name,
            started=reader.started,
            ended=reader.ended,
            software=reader.versions,
            unit=unit_summary(documents.unit),
            bench=bench_summary(documents.bench, reader.identities, reader.documents),
            rule=documents.profile.profile.rule,
            outcome=words,
            exit=int(code),
            figures=judged.figures,
            verdicts=judged.verdicts,
            charts=judged.charts,
            events=events,
            cautions=CAUTIONS,
            notes=(
                *filter(None, (advice(tripped(events), _running(reader, len(steps))),)),
                *notes,
                *judged.notes,
            ),
            simulated=_simulated(documents.bench, reader.options),
            alarm=alarm,
            guard=tripped(events),
            made_safe=_made_safe(events),
            digest=reader.seal or "",
        )


def _day(started: str) -> date | None:
    """Return the day of a run; None where the record does not say it."""
    try:
        return datetime.fromisoformat(started).date()
    except ValueError:
        return None


def _running(reader: RecordReader, count: int) -> str:
    """Return the name of the last of the profile's trials that was begun."""
    begun = [trial.name for trial in reader.trials if trial.index < count]
    return begun[-1] if begun else ""


def _source(reader: RecordReader, kind: str) -> Source:
    found = reader.documents.get(kind)
    if found is None:
        raise RecordError(
            f"{reader.path} holds no {kind} document: it was damaged or altered, and can't be "
            "judged."
        )
    return Source(*found)


def _alarm(events: tuple[Event, ...]) -> str:
    """Return what somebody at the bench has to know before anything else."""
    safe = [event for event in events if event.kind == MAKE_SAFE]
    return safe[-1].text if safe and safe[-1].severity == "alarm" else ""


def _simulated(bench: BenchDocument, options: Mapping[str, object]) -> str:
    """Say that no real unit was measured, if so: only simulated benches have a time base."""
    if bench.simulation is None and not bench.instruments_of("time_base"):
        return ""
    known = [f"{name} {options[name]}" for name in ("scenario", "seed") if name in options]
    what = f" ({', '.join(known)})" if known else ""
    return f"Simulated bench{what}: no real unit was measured, whatever the unit document says."


def _outcome(
    judged: Judged, events: tuple[Event, ...], *, ended: bool
) -> tuple[str, Exit, tuple[str, ...]]:
    """Return outcome, exit code and remarks; what stopped a run weighs more than its verdicts."""
    sentence, code = outcome(judged.verdicts)
    words = sentence.partition(":")[0]
    for event in _since_resumed(events):
        if event.kind == STOPPED:
            number = event.detail.get("exit")
            if isinstance(number, int) and number in STOPPED_WORDS:
                stopped_by = Exit(number)
                return STOPPED_WORDS[stopped_by], stopped_by, (event.text,)
            if code != Exit.FAILED:
                return "not completed", Exit.UNDECIDED, (event.text,)
            return words, code, (event.text,)
    if not ended and code == Exit.PASSED:
        return "not completed", Exit.UNDECIDED, ("The record was never finished.",)
    if judged.fell and code == Exit.PASSED:
        return "output fell", Exit.UNDECIDED, ()
    return words, code, ()


def stopped_by_guard(events: tuple[Event, ...]) -> bool:
    """Return whether a guard ended the run, whatever became of making safe."""
    return any(
        event.kind == STOPPED and event.detail.get("exit") == Exit.GUARD
        for event in _since_resumed(events)
    )


def tripped(events: tuple[Event, ...]) -> Tripped | None:
    """Return the guard that ended the run; records of older versions say it in words only."""
    last = _since_resumed(events)
    by = next((e for e in last if e.kind == STOPPED and e.detail.get("exit") == Exit.GUARD), None)
    if by is None:
        return None
    told = by.detail
    value, bound = told.get("value"), told.get("bound")
    return Tripped(
        channel=str(told.get("guard", "")),
        reason=str(told.get("reason", "")),
        value=None if value is None else float(value),
        bound=None if bound is None else float(bound),
        unit=str(told.get("unit", "")),
        source=str(told.get("source", "")),
        at=float(told.get("at", by.at)),
        text=by.text,
        made_safe=next((e.text for e in reversed(last) if e.kind == MAKE_SAFE), ""),
    )


def _made_safe(events: tuple[Event, ...]) -> bool | None:
    """Return whether the bench was shown to be without energy when the run last ended."""
    safe = [event for event in _since_resumed(events) if event.kind == MAKE_SAFE]
    return safe[-1].severity != "alarm" if safe else None


def _since_resumed(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """Return the events since the run last went on: what stopped it before is over."""
    last = max((n for n, event in enumerate(events) if event.kind == RESUMED), default=0)
    return events[last:]


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
            ("Warm-up asked for", format_quantity(unit.unit.warm_up, "s")),
        ),
    )


def bench_summary(
    bench: BenchDocument,
    identities: Mapping[str, str],
    documents: Mapping[str, tuple[str, str]],
) -> BenchSummary:
    """Return the bench in words; `documents` are the record's."""
    return BenchSummary(
        name=bench.bench.name,
        description=bench.bench.description,
        instruments=tuple(
            InstrumentRow(
                name,
                entry.role,
                entry.address,
                identities.get(name, ""),
                "" if entry.operator else dialect_words(name, entry, documents),
            )
            for name, entry in bench.instruments.items()
        ),
        channels=tuple(channel_row(name, entry) for name, entry in bench.channels.items()),
    )


def channel_row(name: str, channel: BenchChannel) -> ChannelRow:
    """Return one channel in words."""
    unit = {"voltage": "V", "current": "A", "temperature": "K"}.get(channel.function, "1")
    span = getattr(channel, "range", None)
    return ChannelRow(
        channel=name,
        instrument=channel.instrument,
        range="" if span is None else format_quantity(span, unit),
        integration=""
        if channel.integration is None
        else format_quantity(channel.integration, "s"),
        accuracy=channel.accuracy_words,
    )
