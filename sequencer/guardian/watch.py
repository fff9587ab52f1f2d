"""Watch a sequencer: its signs of life and of progress, and its end if they stay away."""

import os
import signal
import time
from contextlib import suppress
from io import RawIOBase
from select import POLLIN, poll

from drivers.roles import BenchSpec
from sequencer.guardian.signs import (
    ALIVE,
    BEAT_S,
    DONE,
    PROGRESS,
    SILENCE_S,
    TAKE_OVER,
    longest_progress_s,
)

END_S = 5.0
"""A killed process is gone within moments, unless the system itself hangs."""

NO_SIGN = b""


class Sequencer:
    """The process that is watched: its pipe, a handle that no other process can take over."""

    def __init__(self, pid: int, beats: RawIOBase, says: int) -> None:
        self.pid = pid
        self.handed_over = False
        """Whether it has given the bench over, and goes by itself."""
        self.beats = beats
        self._says = says
        self._handle = os.pidfd_open(pid) if hasattr(os, "pidfd_open") else None
        self._waiting = poll()
        self._waiting.register(beats, POLLIN)
        os.set_blocking(says, False)

    def line(self) -> str:
        """Return the next line that was sent; empty when the pipe ended."""
        line = b""
        while not line.endswith(b"\n"):
            byte = self.beats.read(1)
            if not byte:
                return ""
            line += byte
        return line.decode()

    def say(self) -> None:
        """Show that the guardian lives."""
        with suppress(OSError):
            os.write(self._says, ALIVE)

    def signs(self) -> bytes | None:
        """Return what was sent; empty when the sender is gone, None when nothing came in time."""
        if not self._waiting.poll(BEAT_S * 1000):
            return None
        return self.beats.read(65536) or NO_SIGN

    def end(self) -> None:
        """Kill it and wait until it is gone, and its sockets with it."""
        if self._handle is None:
            with suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)
            return
        with suppress(ProcessLookupError):
            signal.pidfd_send_signal(self._handle, signal.SIGKILL)
        gone = poll()
        gone.register(self._handle, POLLIN)
        gone.poll(END_S * 1000)


def until_needed(sequencer: Sequencer, spec: BenchSpec) -> str:
    """Watch until told to end (returns "") or needed, and say why.

    The sequencer is ended then, unless it has given the bench over itself.
    """
    most_s = longest_progress_s(spec)
    seen = life = progress = time.monotonic()
    while True:
        sequencer.say()
        signs = sequencer.signs()
        now = time.monotonic()
        if now - seen > 2 * BEAT_S:  # it was this process that did not run
            life, progress = life + now - seen, progress + now - seen
        seen = now
        if signs == NO_SIGN:
            reason = f"the sequencer (process {sequencer.pid}) died"
        elif signs is not None and DONE in signs:
            return ""
        elif signs is not None and TAKE_OVER in signs:
            sequencer.handed_over = True
            return f"the sequencer (process {sequencer.pid}) could not show the bench to be safe"
        else:
            life = now if signs else life
            progress = now if signs and PROGRESS in signs else progress
            if now - life <= SILENCE_S and now - progress <= most_s:
                continue
            silent = f"gave no sign of life for {now - life:.1f} s"
            if now - life <= SILENCE_S:
                silent = f"made no progress for {now - progress:.0f} s"
            reason = f"the sequencer (process {sequencer.pid}) {silent} and was ended"
        sequencer.end()
        return reason
