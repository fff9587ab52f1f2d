"""Everything that a run needs around it: bench locked and opened, guardian at its side."""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from drivers.connect import connect
from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.errors import BenchFailed
from sequencer.guardian.keeper import Guardian
from sequencer.run.bench_lock import BenchLock, lock_bench
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.safe_report import SafeReport
from sequencer.run.simulation import simulation
from sequencer.run.spec import bench_spec


@dataclass(frozen=True, slots=True)
class Opened:
    """A bench that is ours alone. `remarks` is for the record: dead owners that were found."""

    bench: Bench
    guardian: Guardian
    job: SafeJob
    lock: BenchLock
    remarks: tuple[str, ...]


@contextmanager
def opened(
    documents: Documents,
    record: Path,
    on_event: Callable[[str, str], None],
    *,
    bench_time_s: float = 0.0,
    identities: Mapping[str, str] | None = None,
    trace: Path | None = None,
    aloud: Callable[[str], None] = lambda _: None,
) -> Iterator[Opened]:
    """Start a simulated bench where one is asked for, lock, start the guardian, and connect.

    Nothing is energised by that; but something may have been on before, so that a bench of which
    not everything answers is made safe as far as it does. `aloud` hears what only a person can do.
    At the end the guardian is told to go, then everything is closed.
    Whoever makes safe sends nothing to an instrument that answers otherwise than in `identities`.
    The lock keeps the owner's name unless `release(safe=True)` was called on it. With `trace`,
    every message is written to that new file.

    Raises
    ------
    UsageError
        When the bench is in use.
    BenchFailed
        When an instrument or the guardian doesn't come up.
    """
    with ExitStack() as stack:
        addresses: Mapping[str, str] | None = None
        keeps: list[int] = []
        simulated = documents.bench.simulation
        if simulated is not None:
            served = stack.enter_context(simulation(simulated.scenario, simulated.seed))
            addresses, keeps = served.addresses, [served.lifeline]
        job = safe_job_of(documents.bench, record, addresses).knowing(identities or {})
        # A bench that only this run knows needs no lock.
        lock = BenchLock((), ()) if simulated is not None else lock_bench(job)
        stack.callback(lock.release, safe=False)
        guardian = Guardian(job, keeps=(*keeps, *lock.handles))
        stack.callback(guardian.dismiss)
        try:
            bench = connect(
                bench_spec(documents.bench, addresses),
                on_event=on_event,
                bench_time_s=bench_time_s,
                trace=trace,
            )
            closing = stack.enter_context(ExitStack())
            closing.callback(bench.close)
            try:
                guardian.wait_until_ready()
            except BenchFailed:
                closing.close()  # an instrument may take one connection only
                raise
        except (InstrumentError, BenchFailed) as error:
            aloud(f"{error} Making safe whatever can be reached …")
            safe = carry_out(job, aloud=aloud, prompt=sys.stderr)
            lock.release(safe=safe.verified)
            raise BenchFailed(failed_start(safe)) from error
        remarks = tuple(
            f"The lock of a dead run was found and taken over: {owner}. That run did not show the "
            "bench to be safe."
            for owner in lock.left_behind
        )
        yield Opened(bench, guardian, job, lock, remarks)


def failed_start(safe: SafeReport) -> str:
    """Return what became of a bench of which not everything answered.

    The run has energised nothing; what was on before is another matter.
    """
    return (
        "The run did not start. Nothing was energised by it, but the load or the unit may have "
        f"been on before. {safe}"
    )
