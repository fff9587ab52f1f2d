"""One run from start to end: bench opened, trials performed, bench made safe, all recorded."""

import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any

from pydantic import BaseModel

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.errors import BenchFailed, Interrupted, SteadyrailError
from sequencer.record.write import RecordWriter
from sequencer.run.bounds import guard_bounds
from sequencer.run.guards import Guards
from sequencer.run.live import LiveBench
from sequencer.run.loop import perform
from sequencer.run.make_safe import SafeReport, make_safe
from sequencer.trials.trial import Context, Trial

PROVES_VOLTAGE = ("voltage.sense", "voltage.terminals")
"""Channels that prove that the output's voltage has gone."""

STOPPED = "stopped"
"""The kind of event that tells why a run did not end by itself; its detail holds the exit code."""


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended: None as `stopped_by` when all trials came to their end."""

    stopped_by: SteadyrailError | None
    safe: SafeReport


def run_trials(
    bench: Bench,
    documents: Documents,
    planned: Sequence[tuple[Trial[Any], BaseModel]],
    writer: RecordWriter,
    *,
    on_time: Callable[[float], None] = lambda _: None,
    on_trial: Callable[[str], None] = lambda _: None,
    on_safe: Callable[[SafeReport], None] = lambda _: None,
) -> Ended:
    """Perform every trial on an opened bench, then make the bench safe, whatever happens.

    A guard, a failed instrument, a signal or a trial that can't go on stop the run; the bench is
    made safe first, and the reason is in the record and in what is returned. `on_safe` hears how
    making safe went before anything else is tried, as the record may be what failed: a record that
    can't be written (a full disk) and programming errors are raised, after the bench was made safe.
    """
    live = LiveBench(
        bench, writer, Guards(guard_bounds(documents.bench, documents.profile)), on_time
    )
    context = Context(documents.unit, documents.bench)
    stopped: SteadyrailError | None = None
    safe = SafeReport(())
    try:
        with _signals_interrupt():
            try:
                _preflight(bench, writer)
                for number, (trial, settings) in enumerate(planned):
                    on_trial(trial.name)
                    writer.begin_trial(number, trial.name, settings.model_dump_json())
                    perform(trial.procedure(settings, context), live)
            except SteadyrailError as error:
                stopped = error
            except InstrumentError as error:
                stopped = BenchFailed(str(error))
            except KeyboardInterrupt as interrupt:
                by = f" by {interrupt}" if str(interrupt) else ""
                stopped = Interrupted(f"The run was interrupted{by}.")
    finally:
        with _signals_ignored():
            safe = _make_safe(bench, documents)
            on_safe(safe)
            at = _last_time(bench)
            if stopped is not None:
                detail = {"exit": int(stopped.exit_code)}
                writer.event(at, STOPPED, "alarm", str(stopped), detail)
            writer.event(at, "make safe", "note" if safe.verified else "alarm", str(safe))
            writer.commit()
    return Ended(stopped, safe)


def _preflight(bench: Bench, writer: RecordWriter) -> None:
    """Take the load off and look at every error queue before anything is energised."""
    writer.identities(bench.identities())
    if bench.load is not None and not bench.load.off():
        raise BenchFailed("The load does not confirm that its input is off; nothing was energised.")
    for text in bench.check_errors():
        writer.event(bench.clock.now(), "error queue", "warning", text)


def _make_safe(bench: Bench, documents: Documents) -> SafeReport:
    table = documents.bench
    channels = table.channels
    order = [_role(table.instruments, name) for name in table.bench.make_safe]
    return make_safe(
        bench,
        order,
        current_channels=[c for c in channels if c.startswith("current.")],
        voltage_channels=[c for c in channels if c in PROVES_VOLTAGE],
    )


def _role(instruments: Mapping[str, Any], name: str) -> str:
    """Return the role that a name in the make-safe order stands for."""
    return str(instruments[name].role) if name in instruments else name


def _last_time(bench: Bench) -> float:
    try:
        return bench.clock.now()
    except InstrumentError:
        return float("nan")


@contextmanager
def _signals_interrupt() -> Iterator[None]:
    """Let SIGTERM and SIGHUP end the run as Ctrl-C does: bench made safe, record kept."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        del frame
        # No Exception: nothing on the way may take it for a failed instrument and try again.
        raise KeyboardInterrupt(signal.Signals(number).name)

    with _handlers(interrupt, (signal.SIGTERM, signal.SIGHUP)):
        yield


@contextmanager
def _signals_ignored() -> Iterator[None]:
    """Nothing interrupts making safe."""
    with _handlers(signal.SIG_IGN, (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)):
        yield


@contextmanager
def _handlers(handler: Any, numbers: Sequence[signal.Signals]) -> Iterator[None]:
    """Set signal handlers for a while (Any: the standard library's own union of handlers)."""
    before = {number: signal.signal(number, handler) for number in numbers}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
