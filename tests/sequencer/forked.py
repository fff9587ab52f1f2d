"""The run's own programs by fork: simulated bench and guardian without a second of imports each.

Everything else is as usual: a process and a session of its own, the same pipes, real sockets.
"""

import ctypes
import os
import runpy
import signal
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import IO, Any, NoReturn
from unittest import mock

from drivers.connect import load_backend

PROGRAMS = frozenset({"simulated_bench", "sequencer.guardian"})
LOADED = (
    "sequencer.command_line.resume",
    "sequencer.command_line.run",
    "sequencer.guardian.rescue",
    "sequencer.guardian.watch",
    "simulated_bench.instruments.reading_tables",
    "simulated_bench.instruments.table_top",
    "simulated_bench.scenario",
    "simulated_bench.server",
    "simulated_bench.world",
)
POLL_S = 0.002
SET_NAME, LONGEST_NAME = 15, 15
"""PR_SET_NAME of linux/prctl.h; what /proc/PID/comm holds of it."""

Hook = Callable[[str], Callable[[], None] | None]
"""Called first in each program with its name; returns what is to be called at its end."""
SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGALRM)


def name_of(module: str) -> str:
    """Return what the system calls a forked program."""
    return module.rsplit(".", 1)[-1][:LONGEST_NAME]


class Forked:
    """What `subprocess.Popen` gives for `python -m MODULE WORDS`, started by fork."""

    def __init__(self, module: str, words: Sequence[str], hook: Hook, **how: Any) -> None:
        pipes = {key: os.pipe() for key in ("stdin", "stdout", "stderr") if how.get(key) == -1}
        keeps = tuple(how.get("pass_fds", ()))
        self.returncode: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            _become(module, words, pipes, how, keeps, hook)
        files: dict[str, IO[str] | None] = dict.fromkeys(("stdin", "stdout", "stderr"))
        for key, (out, into) in pipes.items():
            ours, theirs, mode = (into, out, "w") if key == "stdin" else (out, into, "r")
            os.close(theirs)
            files[key] = os.fdopen(ours, mode)
        self.stdin, self.stdout, self.stderr = files["stdin"], files["stdout"], files["stderr"]

    def poll(self) -> int | None:
        if self.returncode is None:
            with suppress(ChildProcessError):
                pid, status = os.waitpid(self.pid, os.WNOHANG)
                if pid:
                    self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        end = None if timeout is None else time.monotonic() + timeout
        while self.poll() is None:
            if end is not None and time.monotonic() > end:
                raise subprocess.TimeoutExpired(str(self.pid), timeout or 0.0)
            time.sleep(POLL_S)  # wall time: the process is real
        return self.returncode or 0

    def kill(self) -> None:
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)


def _become(
    module: str,
    words: Sequence[str],
    pipes: dict[str, tuple[int, int]],
    how: dict[str, Any],
    keeps: tuple[int, ...],
    hook: Hook,
) -> NoReturn:
    code, afterwards = 1, None
    try:
        os.setsid()
        ctypes.CDLL(None).prctl(SET_NAME, name_of(module).encode())
        for number in SIGNALS:
            signal.signal(number, signal.SIG_DFL)
        nothing = os.open(os.devnull, os.O_RDWR)
        for number, key in enumerate(("stdin", "stdout", "stderr")):
            end = pipes[key][0 if key == "stdin" else 1] if key in pipes else nothing
            if key in pipes or how.get(key) is not None:
                os.dup2(end, number)
        kept = sorted({0, 1, 2, *keeps})
        for low, high in zip(kept, [*kept[1:], os.sysconf("SC_OPEN_MAX")], strict=True):
            os.closerange(low + 1, min(high, 4096))
        sys.stdin, sys.stdout, sys.stderr = (
            os.fdopen(number, mode, closefd=False)
            for number, mode in ((0, "r"), (1, "w"), (2, "w"))
        )
        sys.argv = [module, *words]
        afterwards = hook(module)
        runpy.run_module(module, run_name="__main__", alter_sys=True)
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:  # noqa: BLE001  # as the interpreter does at the end of a program
        traceback.print_exc()
    finally:
        with suppress(Exception):
            if afterwards is not None:
                afterwards()
        with suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def load() -> None:
    """Import what the programs need, once, so that no fork has to."""
    for name in LOADED:
        import_module(name)
    load_backend()


@contextmanager
def forked(hook: Hook = lambda _: None) -> Iterator[None]:
    """Start the run's programs by fork while the context lasts; `hook` is called in each first."""
    load()
    real = subprocess.Popen

    def chosen(words: Sequence[str], **how: Any) -> Any:
        if list(words[:2]) == [sys.executable, "-m"] and words[2] in PROGRAMS:
            return Forked(words[2], words[3:], hook, **how)
        return real(words, **how)

    with mock.patch.object(subprocess, "Popen", chosen):
        yield
