"""A bench that a run could not show to be safe is left to its guardian, which tries on."""

import json
import re
import socket
import threading
import time
from contextlib import closing, suppress
from pathlib import Path
from typing import Any
from unittest import mock

from bench_apart import Apart, apart, committed, events
from kills import wait_for
from made_up_result import made_up_result
from record_samples import new_writer
from test_guardian_watch import job

from sequencer.command_line import on_bench
from sequencer.documents.load import load_profile
from sequencer.errors import Exit
from sequencer.run.event_kinds import GUARDIAN, MAKE_SAFE, STOPPED
from sequencer.run.opened import Opened
from sequencer.run.safe_report import SafeReport, SafeStep

RECORD = "run.sqlite"


class Cable:
    """A way to an instrument that can be cut and mended."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._serve()

    def cut(self) -> None:
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for link in self._open:
            with suppress(OSError):
                link.shutdown(socket.SHUT_RDWR)
            link.close()
        self._open.clear()

    def mend(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._serve()

    def _serve(self) -> None:
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def _accept(self, listener: socket.socket) -> None:
        with suppress(OSError):
            while True:
                near, _ = listener.accept()
                far = socket.create_connection(("127.0.0.1", self._to))
                self._open += (near, far)
                for pair in ((near, far), (far, near)):
                    threading.Thread(target=self._carry, args=pair, daemon=True).start()

    def _carry(self, source: socket.socket, sink: socket.socket) -> None:
        with suppress(OSError):
            while block := source.recv(4096):
                sink.sendall(block)
        for end in (source, sink):  # as a cable does: both sides know
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


def wired(table: Apart, instrument: str) -> Cable:
    """Put a cable before an instrument, as the bench document has it."""
    given = table.addresses[instrument]
    cable = Cable(int(given.split("::")[2]))
    place = table.folder / "bench.toml"
    through = re.sub(r"::\d+::", f"::{cable.port}::", given)
    place.write_text(place.read_text().replace(given, through))
    return cable


def test_it_goes_on_until_the_load_can_be_reached_again(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        cable = wired(table, "load")
        process = table.run(RECORD)
        record = tmp_path / RECORD
        wait_for(lambda: record.exists() and len(committed(record)) > 300)
        cable.cut()
        assert process.wait() == 5, table.errors()
        said = " ".join(table.errors().split())
        assert "NOT VERIFIED" in said
        assert "The guardian, a process of its own, goes on trying" in said
        assert len(table.guardians()) == 1
        assert table.ask("load", "INPut?") == "1"
        (owner,) = {path.read_text() for path in (tmp_path / "locks").iterdir()}
        assert json.loads(owner)["pid"] == process.pid

        cable.mend()
        table.seconds_to_safe(time.monotonic() + 40.0)  # its pauses grow
        wait_for(lambda: not table.guardians())
        told = events(record)
        kinds = [kind for kind, _ in told]
        assert kinds.count(STOPPED) == 1, "what ended the run is not what the guardian did"
        assert kinds[-3:] == [MAKE_SAFE, GUARDIAN, MAKE_SAFE] or kinds[-2:] == [MAKE_SAFE] * 2
        assert told[-1][1].startswith("By the guardian: Made safe, verified")
        assert not any(path.read_text() for path in (tmp_path / "locks").iterdir())
        code, _ = table.finish("resume", RECORD, "--cautions-read", "--json")
        assert code in (0, 1, 3), table.errors()


def test_a_record_waits_for_what_the_guardian_still_does(tmp_path: Path) -> None:
    """Also where a guard ended the run, whose record is sealed otherwise."""
    sealed = []
    documents = load_profile("acceptance", bench="simulated-apart")
    for safe in (True, False):
        path = tmp_path / f"{safe}.sqlite"
        with closing(new_writer(path)) as writer:
            writer.event(1.0, STOPPED, "alarm", "too hot", {"exit": int(Exit.GUARD)})
            writer.event(1.0, MAKE_SAFE, "note" if safe else "alarm", "x", {"verified": int(safe)})
        with mock.patch.object(on_bench, "result_of", return_value=made_up_result(made_safe=safe)):
            sealed.append(bool(on_bench.finish(path, documents).digest))
    assert sealed == [True, False]


class Around:
    """Everything around a bench, which writes down what is done with it."""

    def __init__(self) -> None:
        self.done: list[str] = []

    def close(self) -> None:
        self.done.append("links closed")

    def hand_over(self) -> bool:
        self.done.append("guardian takes over")
        return True

    def dismiss(self) -> None:
        self.done.append("guardian goes")

    def leave(self) -> None:
        self.done.append("lock left")

    def release(self, *, safe: bool) -> None:
        self.done.append(f"lock freed, {safe=}")

    def put_back(self) -> None:
        self.done.append("lock as before")


def given_back(*, began: bool, safe: SafeReport | None, own: bool = False) -> list[str]:
    around = Around()
    table: Any = Opened(around, around, job(), around, own=own, began=began, safe=safe)  # type: ignore[arg-type]
    table.give_back()
    table.give_back()  # a second time nothing is left to do
    return around.done


SAFE = SafeReport((SafeStep("load off", verified=True, detail="0 A"),))
UNSAFE = SafeReport((SafeStep("load off", verified=False, detail="3 A"),))


def test_the_guardian_goes_before_the_lock_is_free_and_only_when_nothing_is_left_to_do() -> None:
    closed, goes, takes = "links closed", "guardian goes", "guardian takes over"
    assert given_back(began=True, safe=SAFE) == [closed, goes, "lock freed, safe=True"]
    assert given_back(began=False, safe=None) == [closed, goes, "lock as before"]
    assert given_back(began=True, safe=UNSAFE) == [closed, takes, "lock left"]
    # Ended in the middle of making safe, by whatever: nobody knows.
    assert given_back(began=True, safe=None) == [closed, takes, "lock left"]
    # A simulated bench of its own ends with the run.
    assert given_back(began=True, safe=UNSAFE, own=True)[1] == goes
