"""A served bench as a program of its own, and what rude clients do to it."""

import json
import os
import resource
import select
import socket
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

SERVE = (
    *(sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"),
    *("--hislip", "0", "--vxi11", "0"),
)


class Served:
    """Where its instruments are, and how the process fares."""

    def __init__(self, process: "subprocess.Popen[bytes]", said: dict[str, dict[str, str]]) -> None:
        self.process = process
        self.raw = {name: int(at.split("::")[2]) for name, at in said["instruments"].items()}
        self.hislip = {
            name: int(at.split(",")[1].split("::")[0]) for name, at in said["hislip"].items()
        }
        self.vxi11 = {
            name: int(at.split(",")[1].split("::")[0]) for name, at in said["vxi11"].items()
        }
        self.serial = {
            name: at.removeprefix("ASRL").removesuffix("::INSTR")
            for name, at in said.get("serial", {}).items()
        }

    def resident_kib(self) -> int:
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") >> 10

    def cpu_s(self) -> float:
        words = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")

    def descriptors(self) -> int:
        return len(list(Path(f"/proc/{self.process.pid}/fd").iterdir()))

    def allow_descriptors(self, most: int) -> None:
        resource.prlimit(self.process.pid, resource.RLIMIT_NOFILE, (most, most))

    def error(self, name: str) -> bytes:
        """Return an instrument's oldest error over its raw socket."""
        return ask(self.raw[name], b"SYST:ERR?\n")

    def answers_everywhere(self) -> bool:
        return (
            all(ask(port, b"*CLS;*OPC?\n") == b"1\n" for port in self.raw.values())
            and all(ask_hislip(port) == b"1\n" for port in self.hislip.values())
            and all(ask_vxi11(port) == b"1\n" for port in self.vxi11.values())
            and all(ask_serial(path, b"\n*CLS;*OPC?\n") == b"1\n" for path in self.serial.values())
        )


@contextmanager
def served(*words: str) -> Iterator[Served]:
    with subprocess.Popen(
        [*SERVE, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        yield Served(process, json.loads(process.stdout.readline()))
        process.stdin.close()
        assert process.wait(30) == 0


def opened(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=10)


def ask(port: int, message: bytes) -> bytes:
    """Ask over a raw socket; a seat that is only just being given back is waited for."""
    for _ in range(50):
        with opened(port) as sock, suppress(OSError):
            sock.sendall(message)
            answer = sock.recv(4096)
            if answer:
                return answer
    return b""


def said(kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> bytes:
    return struct.pack("!2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload


@contextmanager
def hislip_session(port: int) -> Iterator[tuple[socket.socket, socket.socket]]:
    with opened(port) as sync, opened(port) as aside:
        sync.sendall(said(0, 0, 0x01000000, b"hislip0"))
        answer = sync.recv(16, socket.MSG_WAITALL)
        if len(answer) < 16 or answer[2] != 1:
            raise ConnectionError
        aside.sendall(said(17, 0, struct.unpack("!I", answer[4:8])[0] & 0xFFFF))
        if len(aside.recv(16, socket.MSG_WAITALL)) < 16:
            raise ConnectionError
        yield sync, aside


def ask_hislip(port: int, message: bytes = b"*CLS;*OPC?\n") -> bytes:
    for _ in range(50):
        with suppress(OSError), hislip_session(port) as (sync, _):
            sync.sendall(said(7, 0, 0xFFFFFF00, message))
            return sync.recv(4096)[16:]
    return b""


def called(number: int, procedure: int, arguments: bytes, program: int = 0x0607AF) -> bytes:
    """Return a remote procedure call (RFC 5531) of VXI-11's core channel."""
    body = struct.pack("!10I", number, 0, 2, program, 1, procedure, 0, 0, 0, 0) + arguments
    return struct.pack("!I", 0x80000000 | len(body)) + body


def written(number: int, link: int, message: bytes) -> bytes:
    """Return a call that writes a whole message."""
    padded = struct.pack("!5I", link, 1000, 0, 8, len(message)) + message + bytes(-len(message) % 4)
    return called(number, 11, padded)


@contextmanager
def vxi11_link(port: int) -> Iterator[tuple[socket.socket, int]]:
    with opened(port) as sock:
        sock.sendall(called(1, 10, struct.pack("!4I", 1, 0, 0, 5) + b"inst0\0\0\0"))
        error, link = struct.unpack("!28xii8x", sock.recv(44, socket.MSG_WAITALL))
        if error:
            raise ConnectionError
        yield sock, link


def ask_vxi11(port: int, message: bytes = b"*CLS;*OPC?\n") -> bytes:
    for _ in range(50):
        with suppress(OSError, struct.error), vxi11_link(port) as (sock, link):
            sock.sendall(written(2, link, message))
            sock.recv(36, socket.MSG_WAITALL)
            sock.sendall(called(3, 12, struct.pack("!6I", link, 4096, 5000, 0, 0, 0)))
            length = struct.unpack("!36xI", sock.recv(40, socket.MSG_WAITALL))[0]
            return sock.recv(4096)[:length]
    return b""


def ask_serial(path: str, message: bytes) -> bytes:
    """Ask over a serial line and return the last line of what comes."""
    far = os.open(path, os.O_RDWR | os.O_NOCTTY)
    try:
        while select.select([far], [], [], 0.05)[0]:
            os.read(far, 65536)  # what others have left
        os.write(far, message)
        data = b""
        while select.select([far], [], [], 5.0 if not data.endswith(b"\n") else 0.05)[0]:
            data += os.read(far, 65536)
        return data.splitlines(keepends=True)[-1] if data else b""
    finally:
        os.close(far)
