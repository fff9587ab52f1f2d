"""One run from start to end: bench opened, trials performed, bench made safe, all recorded."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.errors import (
    NO_MEMORY,
    BenchFailed,
    ComputerFailed,
    GuardTripped,
    RecordError,
    RecordFailed,
    SteadyrailError,
)
from sequencer.guardian.keeper import Guardian
from sequencer.order import ORDER, order_of
from sequencer.record.write import RecordWriter
from sequencer.run.bounds import guards_of
from sequencer.run.event_kinds import MAKE_SAFE, STOPPED
from sequencer.run.guards import Guards
from sequencer.run.leads import Leads
from sequencer.run.live import LiveBench
from sequencer.run.loop import perform
from sequencer.run.make_safe import make_safe
from sequencer.run.past import Outlook, Past
from sequencer.run.ranges import note_ranges, with_ranges
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.safe_report import SafeReport
from sequencer.run.start import NAME, NUMBER, low_energy, preflight
from sequencer.run.stop import Stop
from sequencer.run.typed import Typist
from sequencer.run.watch import Watch
from sequencer.trials.trial import VOLTAGE

RESERVE_BYTES = 16 << 20
"""Memory that is held while trials run and given back for the end, which must not lack any."""


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended: None as `stopped_by` when all trials came to their end."""

    stopped_by: SteadyrailError | None
    safe: SafeReport


def run_trials(
    bench: Bench,
    documents: Documents,
    writer: RecordWriter,
    stop: Stop,
    *,
    guardian: Guardian | None = None,
    job: SafeJob | None = None,
    past: Past | None = None,
    on_time: Callable[[float], None] = lambda _: None,
    on_trial: Callable[[str], None] = lambda _: None,
    on_stop: Callable[[SteadyrailError], None] = lambda _: None,
    on_safe: Callable[[SafeReport], None] = lambda _: None,
    on_outlook: Callable[[Outlook], None] = lambda _: None,
    aloud: Callable[[str], None] = lambda _: None,
) -> Ended:
    """Perform every trial on an opened bench in its turn, then make it safe, whatever happens.

    A guard, a failed instrument, a signal or a trial that can't go on stop the run; the bench is
    made safe first, and the reason is in the record and in what is returned. `on_stop` hears the
    reason, and only once that is done: a terminal that stands still holds whoever talks to it.
    `on_safe` hears how making safe went before
    anything else is tried, as the record may be what failed: a record that can't be written (a full
    disk) and programming errors are raised, after the bench was made safe.
    `on_outlook` hears what a run that goes on will do, before anything is switched.
    """
    guards = guards_of(with_ranges(documents, bench.ranges()))
    watch = Watch(bench, writer, stop, guardian, documents.profile.resume.gap_at_most)
    order = order_of(documents)
    rest = order.turns if past is None else past.open(order.turns)
    leads_at = rest[0].context.leads_at if rest else VOLTAGE
    leads = Leads(documents.bench.channels, leads_at)
    live = LiveBench(
        bench, writer, guards, on_time, watch.check, leads, _typist(bench, documents, guards)
    )
    stopped: SteadyrailError | None = None
    reserve = [b"." * RESERVE_BYTES]
    try:
        watch.check()
        if past is not None:
            past.look(bench, writer)
            on_outlook(past.outlook(order.turns))
        writer.identities(bench.identities())
        if order.changed and past is None:
            writer.event(bench.clock.now(), ORDER, "note", order.remarks[0])
        preflight(bench, documents, guards, partial(_queue_event, bench, writer), leads)
        note_ranges(bench, documents, writer)
        if past is None or not past.energised:
            on_trial(NAME)
            writer.begin_trial(NUMBER, NAME, "{}")
            perform(low_energy(documents, [turn.settings for turn in rest], leads_at), live)
        for turn in order.turns:
            on_trial(turn.trial.name)
            if past is not None:
                past.perform(turn, live, writer)
                continue
            writer.begin_trial(turn.number, turn.trial.name, turn.settings.model_dump_json())
            perform(turn.trial.procedure(turn.settings, turn.context), live)
    except (SteadyrailError, InstrumentError, MemoryError) as error:
        stopped = _reason(error)
    finally:
        reserve.clear()
        bench.watch_with(None)
        proven = _proven(job or safe_job_of(documents.bench), leads)
        safe = _make_safe(bench, proven, watch.progress, aloud)
        if stopped is not None:
            on_stop(stopped)
        on_safe(safe)
    try:
        _write_end(writer, _last_time(bench), stopped, safe)
    except RecordError as error:
        raise RecordFailed(f"{stopped or error} {safe}") from error
    return Ended(stopped, safe)


def _reason(error: SteadyrailError | InstrumentError | MemoryError) -> SteadyrailError:
    """Return what stopped a run, in words and with its exit code."""
    match error:
        case RecordError():
            return RecordFailed(str(error))
        case SteadyrailError():
            return error
        case InstrumentError():
            return BenchFailed(str(error))
    return ComputerFailed(NO_MEMORY)


def _typist(bench: Bench, documents: Documents, guards: Guards) -> Typist:
    """Return what asks a person for the readings of meters without an interface."""
    by_eye = {name: documents.bench.channels[name] for name in documents.bench.typed}
    return Typist(by_eye, bench.operator, bench.clock, guards.point)


def _proven(job: SafeJob, leads: Leads) -> SafeJob:
    """Take no meter's word whose leads hang in the air."""
    return replace(job, voltage_channels=()) if leads.in_air else job


def _write_end(
    writer: RecordWriter, at: float, stopped: SteadyrailError | None, safe: SafeReport
) -> None:
    if stopped is not None:
        more = stopped.detail if isinstance(stopped, GuardTripped) else {}
        detail = {"exit": int(stopped.exit_code), **more}
        # Making safe takes a person minutes: a guard knows when it saw what it saw.
        writer.event(float(more.get("at", at)), STOPPED, "alarm", str(stopped), detail)
    severity: Literal["note", "alarm"] = "note" if safe.verified else "alarm"
    writer.event(at, MAKE_SAFE, severity, str(safe), {"verified": int(safe.verified)})


def _queue_event(bench: Bench, writer: RecordWriter, text: str) -> None:
    writer.event(bench.clock.now(), "error queue", "warning", text)


def _make_safe(
    bench: Bench, job: SafeJob, on_wait: Callable[[], None], aloud: Callable[[str], None]
) -> SafeReport:
    return make_safe(
        bench,
        job.order,
        current_channels=job.current_channels,
        voltage_channels=job.voltage_channels,
        relays=job.relays,
        on_wait=on_wait,
        aloud=aloud,
    )


def _last_time(bench: Bench) -> float:
    try:
        return bench.clock.now()
    except InstrumentError:
        return float("nan")
