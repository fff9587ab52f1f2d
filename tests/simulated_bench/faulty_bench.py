"""A served table with a control instrument, and clients that give up after a while."""

import socket
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from scpi_stand_in import StandInWorld

from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.server import Server

PATIENCE_S = 0.3


class Client:
    """One connection to one instrument."""

    def __init__(self, port: int) -> None:
        self._sock = socket.create_connection(("127.0.0.1", port), timeout=5.0)
        self._came = b""
        self._sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, data: bytes) -> None:
        self._sock.sendall(data)

    def tell(self, message: str) -> None:
        self.write(message.encode() + b"\n")

    def raw(self, patience_s: float = 5.0) -> bytes:
        """Return what comes until a line ends, the peer closes or patience does."""
        self._sock.settimeout(patience_s)
        try:
            while b"\n" not in self._came:
                block = self._sock.recv(65536)
                if not block:
                    break
                self._came += block
        except (TimeoutError, ConnectionResetError):
            pass
        line, end, self._came = self._came.partition(b"\n")
        return line + end

    def ask(self, message: str, patience_s: float = 5.0) -> str:
        self.tell(message)
        return self.raw(patience_s).decode("latin-1").removesuffix("\n")

    def closed(self) -> bool:
        self._sock.settimeout(5.0)
        try:
            return self._sock.recv(10) == b""
        except ConnectionResetError:
            return True

    def end_writing(self) -> None:
        self._sock.shutdown(socket.SHUT_WR)

    def close(self) -> None:
        self._sock.close()


class FaultyBench:
    def __init__(self, server: Server, world: StandInWorld) -> None:
        self.world = world
        self.server = server
        self._ports = {n: int(text.split("::")[2]) for n, text in server.addresses().items()}
        self._clients: list[Client] = []
        self.control = self.client("control")
        self.clock = self.client("clock")

    def client(self, name: str) -> Client:
        client = Client(self._ports[name])
        self._clients.append(client)
        return client

    def refused(self, name: str) -> bool:
        try:
            Client(self._ports[name]).close()
        except ConnectionRefusedError:
            return True
        return False

    def add(self, entry: str) -> None:
        said = self.control.ask(f'FAUL:ADD "{entry}";:SYST:ERR?')
        assert said == '0,"No error"', said

    def log(self) -> list[str]:
        said = self.control.ask("FAUL:LOG?")
        return [text for text in said.strip('"').split('","') if text]

    def close(self) -> None:
        for client in self._clients:
            client.close()


@contextmanager
def faulty_bench(*faults: Mapping[str, object], **raw: dict[str, object]) -> Iterator[FaultyBench]:
    world = StandInWorld()
    tables = read_tables({**raw, "control": {}}, "test")
    server = Server(place(world, tables, 1, faults), "127.0.0.1", 0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    bench = FaultyBench(server, world)
    try:
        yield bench
    finally:
        server.stop()
        bench.clock.ask("CLOC:TIME?", 0.2)
        bench.close()
        thread.join(5)
        server.close()
