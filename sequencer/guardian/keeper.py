"""The sequencer's side of the guardian: start it, show it signs of life, notice its death."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from select import POLLIN, poll

from sequencer.errors import BenchFailed, GuardianLost
from sequencer.guardian.signs import ALIVE, BEAT_S, DONE, PROGRESS, SILENCE_S, TAKE_OVER
from sequencer.run.notify import Notifier
from sequencer.run.safe_job import SafeJob

READY_S = 30.0
"""A loaded machine takes some seconds to start Python and the VISA library."""

LEAVE_S = 5.0
SELDOM_S = 0.05
"""In virtual time ticks come thousands of times a second; so many signs are not needed."""


class Guardian:
    """A running guardian process; `check` at every tick, `dismiss` when the bench is safe.

    Where that could not be shown, `hand_over`.
    """

    def __init__(
        self, job: SafeJob, notifier: Notifier | None = None, *, keeps: Sequence[int] = ()
    ) -> None:
        """Start the process; `keeps` are open files that must live as long as it does."""
        beat_out, self._beat = os.pipe()
        self._heard, say = os.pipe()
        files = (beat_out, say, *keeps)
        words = [sys.executable, "-m", "sequencer.guardian", str(os.getpid())]
        try:
            self._process = subprocess.Popen(  # noqa: S603  # our own program
                [*words, *map(str, files)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                pass_fds=files,
                start_new_session=True,  # Ctrl-C on the terminal must not reach it
            )
        finally:
            os.close(beat_out)
            os.close(say)
        self.pid = self._process.pid
        self._stop = threading.Event()
        self._last = self._last_heard = time.monotonic()
        self._thread = threading.Thread(target=self._beat_on, name="beats", daemon=True)
        with suppress(BrokenPipeError):
            told = "" if notifier is None else notifier.as_json()
            os.write(self._beat, f"{job.as_json()}\n{told}\n".encode())
        os.set_blocking(self._beat, False)
        self._thread.start()

    def wait_until_ready(self) -> None:
        """Wait for its first word; nothing may be energised before.

        Raises
        ------
        BenchFailed
            When it doesn't come up.
        """
        waiting = poll()
        waiting.register(self._heard, POLLIN)
        if not waiting.poll(READY_S * 1000) or not os.read(self._heard, 1):
            self.dismiss()
            raise BenchFailed(
                "The guardian, the process that makes the bench safe if this one can't, did not "
                "start. Nothing was energised. Look at what it wrote above, and at free memory."
            )
        os.set_blocking(self._heard, False)
        self._last_heard = time.monotonic()

    def progress(self) -> None:
        """Show that the run goes on; never raises."""
        self._send(PROGRESS)

    def check(self) -> None:
        """Show that the run goes on and look whether the guardian lives.

        Raises
        ------
        GuardianLost
            When it died, or says nothing.
        """
        now = time.monotonic()
        if now - self._last < SELDOM_S:
            return
        self._last = now
        self._send(PROGRESS)
        try:
            if not os.read(self._heard, 65536):
                raise GuardianLost(_lost(f"process {self.pid} has died"))
            self._last_heard = now
        except BlockingIOError:
            if now - self._last_heard > SILENCE_S:
                self._process.kill()
                raise GuardianLost(_lost(f"process {self.pid} says nothing any more")) from None

    def dismiss(self) -> None:
        """Tell it to end, and wait for that."""
        if self._stop.is_set():
            return
        self._stop.set()
        self._thread.join()
        self._send(DONE)
        os.close(self._beat)
        try:
            self._process.wait(LEAVE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._heard)

    def hand_over(self) -> bool:
        """Leave the bench to it, whose links must be closed; return whether it is there for that.

        It goes on trying when this process has ended.
        """
        if self._stop.is_set() or self._process.poll() is not None:
            self.dismiss()
            return False
        self._stop.set()
        self._thread.join()
        os.set_blocking(self._beat, True)
        self._send(TAKE_OVER)
        os.close(self._beat)
        os.close(self._heard)
        return True

    def _beat_on(self) -> None:
        while not self._stop.wait(BEAT_S):
            self._send(ALIVE)

    def _send(self, sign: bytes) -> None:
        with suppress(OSError):  # dead or deaf: `check` finds out from what it hears
            os.write(self._beat, sign)


def _lost(how: str) -> str:
    return (
        f"The guardian is lost: {how}. The run was stopped, as nobody would make the bench safe if "
        "this process died, too. Find out what ended it (memory, an administrator), then resume."
    )
