from collections.abc import Iterator

import pytest
from faulty_bench import PATIENCE_S, FaultyBench, faulty_bench

METER = "instrument = 'voltmeter_sense'"


@pytest.fixture
def bench() -> Iterator[FaultyBench]:
    with faulty_bench() as bench:
        yield bench


def test_an_answer_is_lost_after_so_many_queries_and_the_next_one_comes(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'no answer', after_queries = 2")
    meter = bench.client("voltmeter_sense")
    assert [meter.ask("*OPC?", PATIENCE_S) for _ in range(4)] == ["1", "1", "", "1"]
    assert bench.log() == [
        "0.000000 voltmeter_sense: no answer: begins",
        "0.000000 voltmeter_sense: no answer: touches *OPC?",
        "0.000000 voltmeter_sense: no answer: ends",
    ]


def test_a_late_answer_meets_the_next_question(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'late answer', after_queries = 0, delay = '400 ms'")
    meter = bench.client("voltmeter_sense")
    assert meter.ask("*IDN?", 0.1) == ""
    assert meter.ask("*OPC?").startswith("WORKSHOP,VOLTMETER-SENSE")
    assert meter.raw() == b"1\n"
    assert meter.ask("*OPC?") == "1"


def test_a_late_answer_to_a_client_that_has_gone_is_dropped(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'late answer', after_queries = 0, delay = '100 ms'")
    gone = bench.client("voltmeter_sense")
    gone.tell("*IDN?")
    gone.close()
    meter = bench.client("voltmeter_sense")
    assert meter.raw(PATIENCE_S) == b""
    assert meter.ask("*OPC?") == "1"


def test_half_an_answer_leaves_the_rest_to_the_next_question(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'half an answer', after_queries = 0, delay = '400 ms'")
    meter = bench.client("voltmeter_sense")
    half = meter.ask("VOLT:RANG?", 0.1)
    assert half == "+4.00000"
    assert meter.ask("*OPC?") == "0000E+01"


def test_half_an_answer_may_be_all_that_ever_comes(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'half an answer', after_queries = 0")
    meter = bench.client("voltmeter_sense")
    assert meter.ask("VOLT:RANG?", PATIENCE_S) == "+4.00000"
    assert meter.ask("*OPC?") == "1"


def test_garbage_is_a_line_that_is_not_the_answer(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'garbage', after_queries = 0, count = 20")
    meter = bench.client("voltmeter_sense")
    for _ in range(20):
        meter.tell("VOLT:RANG?")
        line = meter.raw()
        assert len(line) == 17
        assert line != b"+4.000000000E+01\n"
    assert meter.ask("VOLT:RANG?") == "+4.000000000E+01"


def test_a_closed_connection_can_be_opened_again(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'closed connection', after_queries = 1")
    meter = bench.client("voltmeter_sense")
    assert meter.ask("*OPC?") == "1"
    meter.tell("*OPC?")
    assert meter.closed()
    assert bench.client("voltmeter_sense").ask("*OPC?") == "1"


def test_an_address_refuses_for_a_time_and_keeps_its_port(bench: FaultyBench) -> None:
    meter, other = bench.client("voltmeter_sense"), bench.client("voltmeter_sense")
    assert other.ask("*OPC?") == "1"
    bench.add(f"{METER}, what = 'refused reconnect', after_queries = 0, lasts = '20 s'")
    meter.tell("*OPC?")
    assert meter.closed()
    assert other.closed()
    assert bench.refused("voltmeter_sense")
    bench.clock.ask("CLOC:UNT? 19.9")
    assert bench.refused("voltmeter_sense")
    bench.clock.ask("CLOC:UNT? 20.1")
    assert bench.client("voltmeter_sense").ask("*IDN?").startswith("WORKSHOP,VOLTMETER-SENSE")
    assert bench.log()[-1].startswith("20.000000 voltmeter_sense: refused reconnect: ends")


def test_another_instrument_is_found_at_the_address(bench: FaultyBench) -> None:
    meter = bench.client("voltmeter_sense")
    assert meter.ask("*OPC?") == "1"
    bench.add(f"{METER}, what = 'wrong instrument', becomes = 'load', at = '5 s', lasts = '5 s'")
    bench.clock.ask("CLOC:UNT? 6")
    assert meter.closed()
    found = bench.client("voltmeter_sense")
    assert found.ask("*IDN?").startswith("WORKSHOP,LOAD")
    assert found.ask("READ?", PATIENCE_S) == ""
    assert found.ask("SYST:ERR?").startswith("-113,")
    bench.clock.ask("CLOC:UNT? 11")
    assert found.closed()
    assert bench.client("voltmeter_sense").ask("*IDN?").startswith("WORKSHOP,VOLTMETER-SENSE")


def test_a_fault_by_time_touches_all_that_is_asked_while_it_lasts(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'no answer', at = '10 s', lasts = '1 s'")
    meter = bench.client("voltmeter_sense")
    answers = []
    for at in (9.9, 10.0, 10.5, 11.0):
        bench.clock.ask(f"CLOC:UNT? {at}")
        answers.append(meter.ask("*OPC?", PATIENCE_S))
    assert answers == ["1", "", "", "1"]


def test_other_instruments_notice_nothing(bench: FaultyBench) -> None:
    bench.add(f"{METER}, what = 'no answer', after_queries = 0, count = 1000000")
    assert bench.client("voltmeter_load").ask("*OPC?") == "1"
    bench.control.tell("FAUL:CLE")
    assert bench.client("voltmeter_sense").ask("*OPC?") == "1"


def test_faults_at_random_come_from_the_seed_about_as_often_as_said() -> None:
    entry = {"instrument": "load", "what": "garbage", "probability": "10 %"}
    touched = []
    for _ in range(2):
        with faulty_bench(entry) as bench:
            load = bench.client("load")
            seen = []
            for _ in range(500):
                load.tell("*OPC?")
                seen.append(load.raw() != b"1\n")
            touched.append(seen)
            assert len([text for text in bench.log() if "touches" in text]) >= sum(seen)
    assert touched[0] == touched[1]
    # Binomial, 500 at 10 %: mean 50, standard deviation 6.7; five of them.
    assert 50 - 34 <= sum(touched[0]) <= 50 + 34
