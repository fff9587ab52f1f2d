import json
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scpi_stand_in import table_top

from simulated_bench.connection import LONGEST_LINE
from simulated_bench.server import Server

SERVE = (sys.executable, "-m", "simulated_bench", "serve")
Port = int


@pytest.fixture(scope="module")
def ports() -> Iterator[dict[str, Port]]:
    server = Server(table_top(load={"clients": 1}), "127.0.0.1", 0)
    thread = threading.Thread(target=server.run)
    thread.start()
    found = {name: int(text.split("::")[2]) for name, text in server.addresses().items()}
    yield found
    server.stop()
    with socket.create_connection(("127.0.0.1", found["clock"])):
        thread.join(10)
    server.close()


def opened(port: Port) -> socket.socket:
    sock = socket.create_connection(("127.0.0.1", port), timeout=5)
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return sock


def line(sock: socket.socket) -> bytes:
    data = b""
    while not data.endswith(b"\n"):
        block = sock.recv(65536)
        if not block:
            return b""
        data += block
    return data


def alive(port: Port) -> bool:
    with opened(port) as sock:
        sock.sendall(b"*IDN?\n")
        return line(sock).startswith(b"WORKSHOP,")


def test_messages_may_come_in_pieces_or_together(ports: dict[str, Port]) -> None:
    with opened(ports["voltmeter_sense"]) as sock:
        sock.sendall(b"*ID")
        sock.sendall(b"N?\r\nVOLT:RANG 10\nVOLT:RANG?\n*OP")
        sock.sendall(b"C?\n")
        data = b""
        while data.count(b"\n") < 3:
            data += sock.recv(4096)
    assert data.split(b"\n")[1:3] == [b"+1.000000000E+01", b"1"]


def test_several_clients_share_an_instrument(ports: dict[str, Port]) -> None:
    with opened(ports["voltmeter_load"]) as one, opened(ports["voltmeter_load"]) as two:
        one.sendall(b"*ESE 17;*ESE?\n")
        assert line(one) == b"17\n"
        two.sendall(b"*ESE?\n")
        assert line(two) == b"17\n"


def test_an_instrument_for_one_client_closes_the_second(ports: dict[str, Port]) -> None:
    with opened(ports["load"]) as one:
        one.sendall(b"*OPC?\n")
        assert line(one) == b"1\n"
        with opened(ports["load"]) as two:
            assert two.recv(10) == b""
        one.sendall(b"*OPC?\n")
        assert line(one) == b"1\n"


@pytest.mark.parametrize("end", [b"", b"\n"])
def test_a_line_too_long_ends_the_connection_with_an_error(
    ports: dict[str, Port], end: bytes
) -> None:
    port = ports["thermometer"]
    with opened(port) as sock:
        sock.sendall(b"x" * (LONGEST_LINE + 1) + end)
        with suppress(ConnectionResetError):
            assert sock.recv(10) == b""
    with opened(port) as sock:
        sock.sendall(b"SYST:ERR?;*CLS\n")
        assert line(sock).startswith(b"-363,")


def test_answers_that_nobody_fetches_are_bounded(ports: dict[str, Port]) -> None:
    port = ports["voltmeter_terminals"]
    with opened(port) as sock:
        try:
            for _ in range(600):
                sock.sendall(b"*IDN?\n" * 2000)
        except OSError:
            pass
        else:
            pytest.fail("the server went on keeping answers")
    with opened(port) as sock:
        sock.sendall(b"SYST:ERR?;*CLS\n")
        assert line(sock).startswith(b"-430,")


def test_hundreds_of_connections_leave_it_alive(ports: dict[str, Port]) -> None:
    port = ports["person"]
    crowd = [opened(port) for _ in range(300)]
    for sock in crowd:
        sock.close()
    assert alive(ports["clock"])
    assert any(alive(port) for _ in range(20))


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.binary(max_size=300), max_size=5), st.booleans())
def test_junk_never_ends_the_server(ports: dict[str, Port], junk: list[bytes], reset: bool) -> None:
    with opened(ports["voltmeter_shunt"]) as sock:
        if reset:  # close with RST in place of FIN
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        for block in junk:
            sock.sendall(block)
    assert alive(ports["voltmeter_shunt"])


def test_it_says_when_it_is_ready_and_ends_on_sigterm() -> None:
    with subprocess.Popen([*SERVE, "--seed", "3"], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        said = json.loads(process.stdout.readline())
        assert (said["ready"], said["scenario"], said["seed"]) == (True, "healthy", 3)
        assert next(iter(said["instruments"])) == "clock"
        assert alive(int(said["instruments"]["clock"].split("::")[2]))
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 0


def test_it_ends_when_its_input_closes() -> None:
    with subprocess.Popen(
        [*SERVE, "--until-stdin-closes"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        assert process.poll() is None
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(10) == 0


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [(("--scenario", "no-such"), 2, "no-such"), (("--seed", "-1"), 2, "whole number")],
)
def test_a_wrong_call_is_explained(words: tuple[str, ...], code: int, said: str) -> None:
    done = subprocess.run([*SERVE, *words], capture_output=True, text=True, check=False)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_taken_port_is_explained() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = subprocess.run(
            [*SERVE, "--port", str(port)], capture_output=True, text=True, check=False
        )
    assert done.returncode == 5
    assert str(port) in done.stderr
