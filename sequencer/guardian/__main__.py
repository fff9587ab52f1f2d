"""The guardian: `python -m sequencer.guardian PID BEATS SAYS [FILES…]`, started by a run."""

import os
import signal
import sys

from drivers.connect import load_backend
from sequencer.guardian.rescue import Quiet, rescue
from sequencer.guardian.watch import Sequencer, until_needed
from sequencer.run.notify import Notifier
from sequencer.run.safe_job import SafeJob

ERRORS = 2
RESERVE_BYTES = 8 << 20
"""Memory that is held while all goes well, for the work in an emergency."""


def main(words: list[str]) -> int:
    """Watch until told to end (0) or needed; then make safe until that is verified."""
    pid, beats, says, *keeps = map(int, words)
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    with os.fdopen(beats, "rb", buffering=0) as stream:
        sequencer = Sequencer(pid, stream, says)
        line, whom = sequencer.line(), sequencer.line()
        if not whom:
            return 0  # the sequencer was gone before it had said what for
        job, notifier = SafeJob.from_json(line), Notifier.from_json(whom.strip())
        load_backend()  # now, as later every moment counts, and memory may be short
        out, reserve = Quiet(sys.stderr), [b"." * RESERVE_BYTES]

        reason = until_needed(sequencer, job.spec)
        if not reason:
            return 0
        if sequencer.handed_over and not os.isatty(ERRORS):
            # Whoever reads that run's words to their end waits for its exit code.
            os.dup2(os.open(os.devnull, os.O_WRONLY), ERRORS)
        reserve.clear()
        return rescue(job, reason, keeps, notifier, out, stopped=not sequencer.handed_over)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
