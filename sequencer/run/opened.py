"""Everything that a run needs around it: bench locked and opened, guardian at its side."""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drivers.connect import connect
from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.load import Documents
from sequencer.errors import BenchFailed, SteadyrailError
from sequencer.guardian.keeper import Guardian
from sequencer.run.bench_lock import BenchLock, lock_bench
from sequencer.run.notify import notifier_of
from sequencer.run.refused import made_safe_first
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.safe_report import SafeReport
from sequencer.run.simulation import simulation
from sequencer.run.spec import bench_spec


@dataclass(slots=True)
class Opened:
    """A bench that is ours alone, until `give_back`. `own` is one that nobody else can reach.

    Attributes
    ----------
    began
        Whether anything was asked of the bench that may energise it.
    safe
        How it was made safe since; None while it was not, or that was not finished.
    """

    bench: Bench
    guardian: Guardian
    job: SafeJob
    lock: BenchLock
    own: bool
    began: bool = False
    safe: SafeReport | None = None
    _given: bool = False

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the record has to know: dead owners that were found."""
        return tuple(
            f"The lock of a dead run was found and taken over: {owner}. That run did not show the "
            "bench to be safe."
            for owner in self.lock.left_behind
        )

    @property
    def left_to_guardian(self) -> bool:
        """Whether the guardian goes on trying to make the bench safe when this process ends."""
        return self.began and not self.own and not (self.safe and self.safe.verified)

    @property
    def left_by_another(self) -> bool:
        """Whether a dead run may have left the bench energised, and nothing was done about it."""
        return bool(self.lock.left_behind) and not self.began and self.safe is None

    def give_back(self) -> None:
        """Close all links, and free the bench, or leave it to the guardian where it isn't proven.

        The guardian goes before the locks do, so that it never meets the next run's bench.
        """
        if self._given:
            return
        self._given = True
        self.bench.close()
        if self.left_to_guardian and self.guardian.hand_over():
            self.lock.leave()
            return
        self.guardian.dismiss()
        if self.began or self.safe is not None:
            self.lock.release(safe=self.safe is not None and self.safe.verified)
        else:
            self.lock.put_back()


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
    prompt: Any = None,  # a text stream
) -> Iterator[Opened]:
    """Start a simulated bench where one is asked for, lock, start the guardian, and connect.

    Nothing is energised by that; but something may have been on before, so that a bench of which
    not everything answers is made safe as far as it does. So is one that a dead run left, where
    this run ends by an error before it begins, such as a record that can't be made.
    `aloud` hears what only a person can do, and such a person is prompted on `prompt`; neither may
    ever wait or fail.
    At the end the bench is given back, if that was not done before. A run that began and was not
    shown to be safe again leaves it to the guardian, which tries on, and the lock keeps its name.
    Whoever makes safe sends nothing to an instrument that answers otherwise than in `identities`.
    With `trace`, every message is written to that new file.

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
        stack.callback(lock.put_back)
        guardian = Guardian(job, notifier_of(documents), keeps=(*keeps, *lock.handles))
        stack.callback(guardian.dismiss)
        try:
            bench = connect(
                bench_spec(documents.bench, addresses),
                on_event=on_event,
                bench_time_s=bench_time_s,
                trace=trace,
                prompt=prompt,
            )
            try:
                guardian.wait_until_ready()
            except BenchFailed:
                bench.close()  # an instrument may take one connection only
                raise
        except (InstrumentError, BenchFailed) as error:
            aloud(f"{error} Making safe whatever can be reached …")
            safe = carry_out(job, aloud=aloud, prompt=prompt or sys.stderr)
            guardian.dismiss()
            lock.release(safe=safe.verified)
            raise BenchFailed(failed_start(safe)) from error
        table = Opened(bench, guardian, job, lock, own=simulated is not None)
        stack.callback(table.give_back)
        try:
            yield table
        except Exception as error:
            if not table.left_by_another:
                raise
            refusal = error if isinstance(error, SteadyrailError) else BenchFailed(repr(error))
            bench.close()  # an instrument may take one connection only
            safely, table.safe = made_safe_first(
                refusal, job, None, aloud, prompt or sys.stderr, guardian.progress
            )
            if refusal is error:
                raise safely from error
            raise


def failed_start(safe: SafeReport) -> str:
    """Return what became of a bench of which not everything answered.

    The run has energised nothing; what was on before is another matter.
    """
    return (
        "The run did not start. Nothing was energised by it, but the load or the unit may have "
        f"been on before. {safe}"
    )
