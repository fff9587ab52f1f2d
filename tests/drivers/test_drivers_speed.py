"""What the session layer costs over bare pyvisa, and what overlapped reading saves; prints both."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest
from stand_in import late
from table import CHANNELS, Table

from drivers.link import resource_manager
from drivers.roles import InstrumentSpec
from drivers.session import Session

# A process of its own, so that its work is not counted as the client's.
SERVER = """
import select, socket
listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
poller, connections = select.poll(), {}
poller.register(listener, select.POLLIN)
while True:
    for number, _ in poller.poll():
        if number == listener.fileno():
            connection, _ = listener.accept()
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            connections[connection.fileno()] = connection
            poller.register(connection, select.POLLIN)
        elif connections[number].recv(4096):
            connections[number].sendall(b"+2.99990000E+01\\n")
        else:
            poller.unregister(number)
            connections.pop(number).close()
"""
ROUNDS, QUERIES = 15, 500
INTEGRATION_S = 0.1


@pytest.fixture
def address() -> Iterator[str]:
    with subprocess.Popen(
        [sys.executable, "-c", SERVER], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        yield f"TCPIP0::127.0.0.1::{process.stdout.readline().strip()}::SOCKET"
        process.kill()


def cost(query: Callable[[], object]) -> tuple[float, float]:
    """Return wall and processor seconds of one block of queries."""
    wall, processor = time.perf_counter(), time.process_time()
    for _ in range(QUERIES):
        query()
    return time.perf_counter() - wall, time.process_time() - processor


def test_session_costs_little_over_a_bare_query(address: str) -> None:
    bare = resource_manager("@py").open_resource(
        address, read_termination="\n", write_termination="\n", open_timeout=1000
    )
    session = Session(InstrumentSpec("meter", "voltmeter", "x", address))
    session.open()
    message = session.encode("READ?")
    pairs = [
        (cost(lambda: session.query(message)), cost(lambda: bare.query("READ?")))  # type: ignore[attr-defined]
        for _ in range(ROUNDS)
    ]
    session.close()
    bare.close()
    wall, processor = (
        min(ours[i] for ours, _ in pairs) / min(theirs[i] for _, theirs in pairs) for i in (0, 1)
    )
    print(f"\nsession / bare pyvisa query: wall {wall:.2f}, processor {processor:.2f}")
    assert wall <= 1.15
    assert processor <= 1.15


def test_meters_read_together_cost_one_of_them(table: Table) -> None:
    bench = table.open(table.spec(("meter_a", "meter_b", "load", "thermo")))
    questions = {
        "meter_a": "READ?",
        "meter_b": "READ?",
        "load": "MEASure:CURRent?",
        "thermo": "MEASure:TEMPerature? (@101)",
    }
    for name, question in questions.items():
        table.servers[name].special[question] = late(INTEGRATION_S, b"1\n")
        table.servers[name].forever.add(question)
    four = tuple(channel.name for channel in CHANNELS[:4])

    def best(channels: tuple[str, ...]) -> float:
        times = []
        for _ in range(5):
            start = time.perf_counter()
            bench.read(channels)
            times.append(time.perf_counter() - start)
        return min(times)

    ratio = best(four) / best(four[:1])
    print(f"\nfour meters together / one of them: {ratio:.3f}")
    assert ratio <= 1.05
    bench.close()
