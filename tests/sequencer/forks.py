"""Programs started by fork from a process that has loaded them already.

Two seconds of imports at each start are no part of what is tested; everything else is as from a
terminal: a process and a session of its own, its own files, its own end by a signal.
"""

import ctypes
import json
import os
import resource
import runpy
import signal
import subprocess
import sys
import threading
import time
import traceback
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

import forked

END_WITH_PARENT = 1  # PR_SET_PDEATHSIG, linux/prctl.h: nothing is left when tests are ended
PERIOD_S = 0.02
STEADYRAIL = "sequencer.command_line.app"
BENCH = "simulated_bench"
GUARDIAN_NAME = forked.name_of("sequencer.guardian")


class Started:
    """A program that was started; like `subprocess.Popen`, but its output is in files."""

    def __init__(self, forks: "Forks", pid: int, out: Path) -> None:
        self._forks = forks
        self.pid = pid
        self.out = out
        self.returncode: int | None = None

    def poll(self) -> int | None:
        if self.returncode is None:
            self.returncode = self._forks.ask({"wait": self.pid})
        return self.returncode

    def wait(self, limit_s: float = 120.0) -> int:
        end = time.monotonic() + limit_s
        while (code := self.poll()) is None:
            assert time.monotonic() < end, f"{self.pid} did not end"
            time.sleep(PERIOD_S)  # wall time: the processes are real
        return code

    def kill(self) -> None:
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)
            self.wait()


class Forks:
    """The process that has everything loaded and forks on request."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._turn = threading.Lock()

    def ask(self, request: dict[str, Any]) -> int | None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with self._turn:
            self._process.stdin.write(json.dumps(request) + "\n")
            self._process.stdin.flush()
            answer: int | None = json.loads(self._process.stdout.readline())
        return answer

    def start(  # as a process has them
        self,
        module: str,
        *words: str,
        folder: Path,
        out: Path,
        errors: Path,
        environment: dict[str, str] | None = None,
        most_bytes: int | None = None,
    ) -> Started:
        """Start `python -m module words`; no file that it writes may grow beyond `most_bytes`."""
        request = {
            "module": module,
            "words": words,
            "folder": str(folder),
            "out": str(out),
            "errors": str(errors),
            "environment": environment or {},
            "most_bytes": most_bytes,
        }
        pid = self.ask(request)
        assert pid is not None
        return Started(self, pid, out)


@cache
def forks() -> Forks:
    """Return the one of this process; it ends with it."""
    return Forks()


def serve() -> None:
    """Fork and wait on request, until nobody is left to ask; what still runs is ended then."""
    forked.load()
    running: set[int] = set()
    while line := sys.stdin.readline():
        request = json.loads(line)
        if "module" in request:
            answer: int | None = os.fork()
            if not answer:
                _become(request)
            running.add(int(answer or 0))
        else:
            pid, status = os.waitpid(request["wait"], os.WNOHANG)
            answer = os.waitstatus_to_exitcode(status) if pid else None
            running.discard(pid)
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()
    for pid in running:
        os.kill(pid, signal.SIGKILL)


def _become(request: dict[str, Any]) -> NoReturn:
    code = 1
    try:
        os.setsid()
        ctypes.CDLL(None).prctl(END_WITH_PARENT, signal.SIGKILL)
        os.chdir(request["folder"])
        os.environ.update(request["environment"])
        new = os.O_WRONLY | os.O_CREAT
        for number, (path, how) in enumerate(
            (
                (os.devnull, os.O_RDONLY),
                (request["out"], new | os.O_TRUNC),
                (request["errors"], new | os.O_APPEND),
            )
        ):
            os.dup2(os.open(path, how, 0o644), number)
        # The streams of this process remember what kind of file was there before.
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(  # noqa: SIM115
            2, "w", buffering=1, encoding="utf-8", errors="backslashreplace", closefd=False
        )
        if request["most_bytes"]:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (request["most_bytes"],) * 2)
        sys.argv = [request["module"], *request["words"]]
        with forked.forked():  # its guardian too
            runpy.run_module(request["module"], run_name="__main__", alter_sys=True)
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:  # noqa: BLE001  # as the interpreter does at the end of a program
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


if __name__ == "__main__":
    serve()
