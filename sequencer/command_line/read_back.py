"""What a record keeps of a run that should go on, and what stands against that."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import isnan
from pathlib import Path

from sequencer.assemble import tripped
from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import Documents, documents_from, read_document
from sequencer.documents.secrets import without_secrets
from sequencer.documents.source import Source
from sequencer.errors import DocumentError, RecordError, SteadyrailError, UsageError
from sequencer.order import order_of
from sequencer.record.files import refuse_finished
from sequencer.record.read import RecordReader
from sequencer.record.seal import verify
from sequencer.run.away import bench_time_now
from sequencer.run.event_kinds import MAKE_SAFE
from sequencer.run.past import RESTORING, Past
from sequencer.run.refused import may_be_energised
from sequencer.run.rest import rest_of
from sequencer.run.spoken import refuse_other_words, software

KINDS = ("unit", "bench", "profile")

BY_HAND = (
    "Nothing was sent to any bench. If the run of this record may have left its own energised: "
    "steadyrail make-safe BENCH."
)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a record keeps; `refusal` is why the run can't go on, None with a `past` if it can.

    `energised` is whether the run may have left its bench so, `changed` the software that is of
    another version now, `head` the running digest of the record when reading it began.
    """

    documents: Documents
    past: Past | None
    refusal: SteadyrailError | None
    bench_time_s: float
    identities: Mapping[str, str]
    changed: Mapping[str, str]
    energised: bool
    head: str


def read_back(record: Path) -> Kept:
    """Read what a run that goes on needs.

    Raises
    ------
    RecordError
        When the record can't be read, or what it holds can't be trusted.
    """
    with RecordReader.open(record) as reader:
        head = reader.head
        refuse_finished(record)
        found = verify(record)
        if found.altered:
            raise RecordError(
                f"{record} was tampered with: {' '.join(found.remarks[1:])} What it holds can't be "
                "gone on with, nor can the bench document in it be trusted."
            )
        documents = _documents(reader)
        now_s = bench_time_now(reader.started, reader.options, reader.last_time, datetime.now(UTC))
        known = bool(documents.bench.instruments_of("time_base")) or not isnan(now_s)
        past: Past | None = None
        refusal: SteadyrailError | None = None
        try:
            _refuse_ended(reader)
            _refuse_changed(reader)
            refuse_other_words(documents.bench, reader.documents)
            past = _past(reader, documents, gap_known=known)
        except SteadyrailError as error:
            refusal = error
        return Kept(
            documents,
            past,
            refusal,
            reader.last_time if isnan(now_s) else max(reader.last_time, now_s),
            dict(reader.identities),
            {
                name: version
                for name, version in software(documents.bench).items()
                if reader.versions.get(name, version) != version
            },
            may_be_energised(reader),
            head,
        )


def _documents(reader: RecordReader) -> Documents:
    """Return the record's own documents."""
    found = reader.documents
    lacking = [kind for kind in KINDS if kind not in found]
    if lacking:
        raise RecordError(f"{reader.path} holds no {', '.join(lacking)} document: it is damaged.")
    try:
        documents = documents_from(*(Source(*found[kind]) for kind in KINDS))
    except DocumentError as error:
        raise RecordError(
            f"{reader.path} holds documents that this version of the program does not take: "
            f"{error}."
        ) from error
    bench = _notified(documents.bench, documents.bench_source.path)
    documents = replace(documents, bench=bench)
    simulation = documents.bench.simulation
    if simulation is None:
        return documents
    options = {k: v for k, v in reader.options.items() if k in type(simulation).model_fields}
    bench = documents.bench.model_copy(update={"simulation": simulation.model_copy(update=options)})
    return replace(documents, bench=bench)


class EndedByGuard(UsageError):
    """A guard ended the run: nobody goes on with it unseen, and its record is sealed."""


def _refuse_ended(reader: RecordReader) -> None:
    """Refuse what a guard has stopped, also where nobody came to seal its record."""
    if (guard := tripped(reader.events)) is not None:
        raise EndedByGuard(
            f"A guard stopped this run: {guard.text.rstrip('.')}. It is not gone on with. Nothing "
            "was energised. Find out why it tripped, then start a new run."
        )


def _refuse_changed(reader: RecordReader) -> None:
    """Refuse where a document on the disk is not as the run was given it."""
    found = reader.documents
    for kind in KINDS:
        path, text = found[kind]
        try:
            now = Path(path).read_text(encoding="utf-8")
        except (OSError, ValueError):
            continue  # moved away: the record's own copy is what counts
        if now != text and _cleared(kind, path, now) != text:
            raise UsageError(
                f"The {kind} document {path} was changed since the run began, so its readings "
                "can't be continued. Nothing was energised. Bring it back, or start a new run."
            )


def _cleared(kind: str, path: str, text: str) -> str:
    """Return a document's text as a record holds it, without what is secret."""
    if kind != "bench":
        return text
    source = Source(path, text)
    try:
        bench = read_document(source, "bench")
        return without_secrets(source, bench).text if isinstance(bench, BenchDocument) else text
    except DocumentError:
        return text  # not even a bench any more: changed


def _notified(bench: BenchDocument, path: str) -> BenchDocument:
    """Return a bench that knows the address to notify, which no record holds, from the disk."""
    table = bench.notifications
    if table is None or table.address is None:
        return bench
    try:
        now = read_document(Source(path, Path(path).read_text(encoding="utf-8")), "bench")
        there = now.notifications if isinstance(now, BenchDocument) else None
    except (OSError, ValueError, DocumentError):
        there = None
    address = None if there is None else there.address
    return bench.model_copy(update={"notifications": table.model_copy(update={"address": address})})


def _past(reader: RecordReader, documents: Documents, *, gap_known: bool) -> Past:
    """Return what the record holds, after a look whether the procedures still ask the same."""
    steps = []
    for turn in sorted(order_of(documents).turns, key=lambda turn: turn.number):
        number, trial, settings = turn.number, turn.trial, turn.settings
        found = reader.steps(number)
        known = {one.index: one for one in reader.trials}.get(number)
        if known is not None and (known.name, known.settings_json) != (
            trial.name,
            settings.model_dump_json(),
        ):
            raise UsageError(
                f"The record's trial {number + 1} is {known.name} with other settings than "
                f"{trial.name} has now: the program or the documents changed. Start a new run."
            )
        if found:
            rest_of(trial, settings, turn.context, found)
        steps.append(found)
    return Past(
        steps,
        documents.profile.resume,
        last_time_s=reader.last_time,
        last_request=reader.last_request,
        restored=sum(one.index >= RESTORING for one in reader.trials),
        line_off="line" in documents.bench.bench.make_safe,
        made_safe=any(event.kind == MAKE_SAFE for event in reader.events),
        gap_known=gap_known,
    )
