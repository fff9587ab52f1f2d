"""One run from start to end: bench opened, trials performed, bench made safe, all recorded."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.errors import BenchFailed, RecordError, RecordFailed, SteadyrailError
from sequencer.record.write import RecordWriter
from sequencer.run.bounds import guards_of
from sequencer.run.live import LiveBench
from sequencer.run.loop import perform
from sequencer.run.make_safe import make_safe
from sequencer.run.safe_report import SafeReport
from sequencer.run.stop import Stop
from sequencer.trials.trial import Context, Trial

PROVES_VOLTAGE = ("voltage.sense", "voltage.terminals")
"""Channels that prove that the output's voltage has gone."""

MAKE_SAFE = "make safe"
"""The kind of event that tells how making safe went; its detail holds whether it was verified."""

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
    stop: Stop,
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
    guards = guards_of(documents)
    live = LiveBench(bench, writer, guards, on_time, stop.check)
    context = Context(documents.unit, documents.bench)
    stopped: SteadyrailError | None = None
    try:
        stop.check()
        _preflight(bench, writer)
        for number, (trial, settings) in enumerate(planned):
            on_trial(trial.name)
            writer.begin_trial(number, trial.name, settings.model_dump_json())
            perform(trial.procedure(settings, context), live)
    except RecordError as error:
        stopped = RecordFailed(str(error))
    except SteadyrailError as error:
        stopped = error
    except InstrumentError as error:
        stopped = BenchFailed(str(error))
    finally:
        bench.watch_with(None)
        safe = _make_safe(bench, documents)
        on_safe(safe)
    at = _last_time(bench)
    if isinstance(stopped, RecordFailed):
        raise stopped
    if stopped is not None:
        writer.event(at, STOPPED, "alarm", str(stopped), {"exit": int(stopped.exit_code)})
    severity: Literal["note", "alarm"] = "note" if safe.verified else "alarm"
    writer.event(at, MAKE_SAFE, severity, str(safe), {"verified": int(safe.verified)})
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
