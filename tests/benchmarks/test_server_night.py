"""Eight hours of four channels each second through pyvisa-py, beside a bare echo.

Run by ``pytest tests/benchmarks/test_server_night.py -m slow -s``. Each second is worked out:
heat, drift, noise and operating point. Two ways: one question a second to each meter, all asked
before the first answer is fetched; and the meters' own memory, a minute of samples at a time. What
the client and the bench compute is told apart from waiting for a computer that is busy elsewhere.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import pyvisa
from echo_servers import ECHO, echo
from rude import Served, ask, served

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]

HOURS, MINUTE = 8, 60
AT_MOST_S = 15.0
METERS = ("voltmeter_sense", "voltmeter_load", "voltmeter_shunt", "voltmeter_terminals")
ANSWER = "+3.000703000E+01"
"""As long as a reading, for the echo."""

Session = pyvisa.resources.MessageBasedResource


@contextmanager
def sessions(ports: list[int]) -> Iterator[list[Session]]:
    manager = pyvisa.ResourceManager("@py")
    found = [
        manager.open_resource(
            f"TCPIP0::127.0.0.1::{port}::SOCKET", read_termination="\n", write_termination="\n"
        )
        for port in ports
    ]
    assert all(isinstance(session, Session) for session in found)
    try:
        yield found  # type: ignore[misc]
    finally:
        for session in found:
            session.close()


def ask_all_then_collect(meters: list[Session], question: str) -> list[str]:
    for meter in meters:
        meter.write(question)
    return [meter.read() for meter in meters]


def a_minute_from_memory(meters: list[Session]) -> None:
    assert all(ok.startswith("0,") for ok in ask_all_then_collect(meters, "INIT;:SYST:ERR?"))
    for answer in ask_all_then_collect(meters, "FETC?"):
        assert answer.count(",") == MINUTE - 1


def the_same_from_the_echo(bare: list[Session]) -> None:
    ask_all_then_collect(bare, '0,"No error"')
    ask_all_then_collect(bare, ",".join([ANSWER] * MINUTE))


def seconds(work: Callable[[], object], times: int) -> float:
    start = time.perf_counter()
    for _ in range(times):
        work()
    return time.perf_counter() - start


@contextmanager
def under_load() -> Iterator[tuple[Served, list[Session], list[Session]]]:
    """Yield the bench with 3 A flowing, its four meters, and as many echoes."""
    with (
        served() as bench,
        echo(ECHO) as (port, _),
        sessions([bench.raw[name] for name in METERS]) as meters,
        sessions([port] * len(METERS)) as bare,
    ):
        for sentence in ("Switch the output on.", "Set the output voltage to 30.000 V."):
            ask(bench.raw["person"], f'OPER:INST "{sentence}";STAT?\n'.encode())
            ask(bench.raw["clock"], b"CLOC:ADV 30;TIME?\n")
        ask(bench.raw["load"], b"FUNC CURR;:CURR 3;:INP ON;*OPC?\n")
        for meter in meters:
            meter.write("VOLT:APER 0.99")  # and 10 ms until the next can begin: one a second
        yield bench, meters, bare


def compared(
    way: str, ours: Callable[[list[Session]], object], theirs: Callable[[list[Session]], object],
    per_hour: int, samples: int,
) -> float:  # fmt: skip
    """Measure a night; print its seconds, and return how long both processes computed."""
    with under_load() as (bench, meters, bare):
        for meter in meters:
            meter.write(f"SAMP:COUN {samples}")
            assert float(meter.query("SAMP:COUN?")) == samples
        began = float(ask(bench.raw["clock"], b"CLOC:TIME?\n"))
        night = echoed = 0.0
        busy = time.process_time() + bench.cpu_s()
        for _ in range(HOURS):
            night += seconds(lambda: ours(meters), per_hour)
        busy = time.process_time() + bench.cpu_s() - busy
        for _ in range(HOURS):
            echoed += seconds(lambda: theirs(bare), per_hour)
        passed_h = (float(ask(bench.raw["clock"], b"CLOC:TIME?\n")) - began) / 3600.0
        volts = float(meters[0].query("READ?").split(",")[0])
    print(f"\n{way}: {passed_h:.3f} h of bench time, ending at {volts:.5f} V,")
    print(f"{night:.1f} s through pyvisa-py, {busy:.1f} s of that computing;")
    print(f"a bare echo of as many messages {echoed:.1f} s;")
    print(
        f"ratio {night / echoed:.2f}, {(night - echoed) / HOURS / 3600 * 1e6:.0f} µs a second more"
    )
    assert passed_h == pytest.approx(HOURS, rel=1e-3)
    assert volts == pytest.approx(30.0, abs=0.2)
    return busy


def test_a_night_with_a_question_to_each_meter_each_second() -> None:
    compared(
        "a question a second",
        lambda meters: ask_all_then_collect(meters, "READ?"),
        lambda bare: ask_all_then_collect(bare, ANSWER),
        3600,
        1,
    )


def test_a_night_out_of_the_meters_memory() -> None:
    busy = compared(
        "a minute at a time", a_minute_from_memory, the_same_from_the_echo, 3600 // MINUTE, MINUTE
    )
    assert busy <= AT_MOST_S, "on a computer with nothing else to do that is the time it takes"
