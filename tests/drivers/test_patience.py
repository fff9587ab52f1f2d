"""A lost instrument is tried again with growing waits, and the guards are looked at meanwhile."""

import socket
import time
from collections.abc import Callable, Sequence
from itertools import pairwise

import pytest
from stand_in import hang_up, silent
from table import TIMEOUT_S, Table

from drivers import patience
from drivers.errors import InstrumentError, NoAnswer, Unreachable, WrongIdentity
from drivers.patience import BUDGET_S, LOOK_S


def watched(table: Table, *names: str):  # type: ignore[no-untyped-def]
    bench = table.connect(*names)
    looks: list[float] = []

    def look(reachable: Callable[[Sequence[str]], tuple[str, ...]]) -> None:
        assert "voltage.sense" not in reachable(("voltage.sense", "temperature.heatsink"))
        bench.read(reachable(("temperature.heatsink",)))
        looks.append(table.bench_time)

    bench.watch_with(look)
    return bench, looks


def test_an_instrument_that_comes_back_in_time_is_recovered(table: Table) -> None:
    bench, looks = watched(table, "clock", "meter_a", "thermo")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = silent
    meter.forever.add("READ?")
    begun = table.bench_time

    def back_later(reachable: Callable[[Sequence[str]], tuple[str, ...]]) -> None:
        del reachable
        looks.append(table.bench_time)
        if table.bench_time - begun > 2.0:
            meter.forever.discard("READ?")
            meter.special.pop("READ?", None)

    bench.watch_with(back_later)
    assert bench.read(("voltage.sense",))[0].value == pytest.approx(29.999)
    assert "reopened" in table.kinds()
    assert "lost" not in table.kinds()
    bench.close()


def test_an_instrument_that_stays_away_is_given_up_within_the_budget(table: Table) -> None:
    bench, looks = watched(table, "clock", "meter_a", "thermo")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = silent
    meter.forever.add("READ?")
    begun = table.bench_time
    with pytest.raises(NoAnswer):
        bench.read(("voltage.sense",))
    assert table.bench_time - begun <= BUDGET_S
    assert "lost" in table.kinds()
    # No two looks are further apart than a second of waiting: a retry delays no guard.
    gaps = [b - a for a, b in pairwise(looks)]
    assert max(gaps) <= LOOK_S + 1e-6
    bench.close()


def test_one_that_answers_slowly_and_never_in_time_is_given_up_in_time(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each answer comes within its time-out, all of them together take longer than the patience."""
    monkeypatch.setattr(patience, "BUDGET_S", 0.8)
    bench, _ = watched(table, "meter_a", "thermo")  # no time base: the computer's clock counts
    meter = table.servers["meter_a"]
    meter.special["READ?"] = silent
    meter.forever.add("READ?")
    handle = meter._handle

    def slowly(connection: socket.socket, line: str) -> None:
        time.sleep(0.8 * TIMEOUT_S)
        handle(connection, line)

    monkeypatch.setattr(meter, "_handle", slowly)
    begun = time.monotonic()
    with pytest.raises(InstrumentError):
        bench.read(("voltage.sense",))
    assert meter.log.count("*IDN?") > 1, "it was not even tried again"
    assert time.monotonic() - begun < TIMEOUT_S + 0.8 + TIMEOUT_S + 0.3
    bench.close()


def test_a_state_that_can_not_be_checked_is_no_reason_to_open_without_end(table: Table) -> None:
    """The check reads the error queue after a time-out, for which the link is opened anew."""
    bench = table.connect("clock", "meter_a")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = hang_up
    check = next(line for line in meter.log if line.startswith(":SENSe"))
    meter.special[check] = silent
    meter.forever.add(check)
    with pytest.raises(NoAnswer):
        bench.read(("voltage.sense",))
    assert meter.connections == 2
    bench.close()


def test_after_it_came_back_it_has_its_whole_time_again(table: Table) -> None:
    bench, _ = watched(table, "meter_a", "thermo")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = silent
    assert bench.read(("voltage.sense",))[0].value == pytest.approx(29.999)
    assert all(i.session.until is None for i in bench._instruments.values())
    bench.close()


def test_what_the_watcher_raises_ends_the_retries(table: Table) -> None:
    bench, _ = watched(table, "clock", "meter_a", "thermo")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = hang_up
    meter.forever.add("READ?")

    def trip(_: object) -> None:
        raise RuntimeError("guard")

    bench.watch_with(trip)
    with pytest.raises(RuntimeError, match="guard"):
        bench.read(("voltage.sense",))
    bench.close()


def test_a_swapped_instrument_is_recognised_and_not_tried_again(table: Table) -> None:
    bench, _ = watched(table, "clock", "meter_a", "thermo")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = hang_up
    meter.answers["*IDN?"] = "WORKSHOP,METER_A-OTHER,SIM0002,1.0"
    with pytest.raises(WrongIdentity):
        bench.read(("voltage.sense",))
    bench.close()


def test_without_a_watcher_a_question_is_asked_once_more_and_that_is_all(table: Table) -> None:
    bench = table.connect("clock", "meter_a")
    meter = table.servers["meter_a"]
    meter.special["READ?"] = hang_up
    meter.forever.add("READ?")
    with pytest.raises(InstrumentError) as caught:
        bench.read(("voltage.sense",))
    assert isinstance(caught.value, Unreachable)
    assert meter.log.count("READ?") == 2
    bench.close()
