"""Faults of the unit, the room and the computer, put into a running bench and asked about."""

from dataclasses import replace
from typing import get_args

import pytest
from scpi_stand_in import ask

from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.scenario import load, shipped
from simulated_bench.scenario_faults import NEEDS, What
from simulated_bench.setting import dial
from simulated_bench.world import World

SAYS = {
    "to": "'150 %'",
    "by": "'5 %'",
    "over": "'1 h'",
    "step": "'10 mV'",
    "lasts": "'1 min'",
    "drop": "'3 K'",
    "shift": "'-1 h'",
}


class Bench:
    """The healthy bench with a control instrument, asked as a server asks."""

    def __init__(self, scenario: str = "healthy", seed: int = 1) -> None:
        document = load(scenario)
        self.world = World(document, seed)
        tables = read_tables({**document.instruments, "control": {}}, scenario)
        self.placed: dict[str, Placed] = place(self.world, tables, seed, document.faults)

    def ask(self, name: str, message: str) -> str:
        placed = self.placed[name]
        if placed.link.disturbed:
            return placed.link.carry(message.encode()).now.decode().removesuffix("\n")
        return ask(placed.device, message)

    def add(self, entry: str) -> None:
        said = self.ask("control", f'FAUL:ADD "{entry}";:SYST:ERR?')
        assert said == '0,"No error"', said

    def log(self) -> list[str]:
        said = self.ask("control", "FAUL:LOG?")
        return [text for text in said.strip('"').split('","') if text]


@pytest.mark.parametrize("what", get_args(What))
def test_each_fault_begins_at_its_time_from_a_running_bench_and_is_logged(what: str) -> None:
    bench = Bench()
    more = "".join(f", {key} = {SAYS[key]}" for key in NEEDS.get(what, ()))
    bench.add(f"what = '{what}', at = '12.5 s'{more}")
    bench.ask("clock", "CLOC:UNT? 12")
    assert bench.log() == []
    bench.ask("clock", "CLOC:UNT? 13")
    assert len(bench.log()) == 1
    assert bench.log()[0].startswith("12.500000 ")
    assert bench.log()[0].endswith(f": {what}: begins")
    assert [event.time_s for event in bench.world.happened("fault")] == [12.5]


def test_a_fault_of_the_room_begins_with_the_query_counted_over_all_instruments() -> None:
    bench = Bench()
    bench.add("what = 'smoke', after_queries = 3, lasts = '10 s'")
    bench.ask("load", "INP?")
    bench.ask("thermometer", "*IDN?")
    bench.ask("load", "CURR 0")
    bench.ask("voltmeter_sense", "*OPC?")
    assert not bench.world.interlock("smoke")
    bench.ask("load", "INP?")
    assert bench.world.interlock("smoke")
    assert not bench.placed["load"].link.disturbed
    bench.ask("clock", "CLOC:UNT? 11")
    assert not bench.world.interlock("smoke")
    assert [line.split(" ", 1)[1] for line in bench.log()] == [
        "room: smoke: begins",
        "room: smoke: ends",
    ]


def test_chance_comes_from_the_seed() -> None:
    def begun(seed: int) -> int:
        bench = Bench(seed=seed)
        bench.add("what = 'trimmer jump', step = '10 mV', probability = '5 %'")
        for number in range(400):
            bench.ask("load", "INP?")
            if bench.log():
                return number
        raise AssertionError

    numbers = [begun(seed) for seed in (1, 1, 2, 3)]
    assert numbers[0] == numbers[1]
    assert len(set(numbers)) > 1


def test_a_time_with_a_spread_comes_from_the_seed_for_instruments_too() -> None:
    def begun(seed: int) -> str:
        bench = Bench(seed=seed)
        bench.add("instrument = 'load', what = 'trip', at = '60 s ± 30 s'")
        bench.ask("clock", "CLOC:UNT? 100")
        return bench.log()[0].split(" ")[0]

    assert begun(1) == begun(1) != begun(2)
    assert 30.0 <= float(begun(1)) <= 90.0


def test_a_sag_put_in_by_count_ends_when_it_has_lasted() -> None:
    bench = Bench()
    bench.ask("clock", "CLOC:UNT? 5")
    before = bench.world.line()[0]
    bench.add("what = 'line sag', by = '20 %', lasts = '4 s', after_queries = 0")
    bench.ask("load", "INP?")
    assert bench.world.line()[0] == pytest.approx(0.8 * before, rel=1e-3)
    bench.ask("clock", "CLOC:UNT? 10")
    assert bench.world.line()[0] == pytest.approx(before, rel=1e-3)


LATER = '"room: line failure: waiting"'


def test_a_scenario_s_own_faults_are_listed_logged_and_can_be_cleared() -> None:
    bench = Bench("line-fails")
    assert bench.ask("control", "FAUL:LIST?") == f"{LATER},{LATER}"
    bench.ask("clock", "CLOC:UNT? 541")
    assert bench.ask("control", "FAUL:LIST?") == f'"room: line failure: active",{LATER}'
    assert bench.world.line()[0] == 0.0
    bench.ask("control", "FAUL:CLE")
    assert bench.world.line()[0] > 200.0
    assert bench.log() == [
        "540.000000 room: line failure: begins",
        "541.000000 room: line failure: ends",
    ]
    other = Bench("line-fails")
    other.ask("control", "FAUL:CLE")
    other.ask("clock", "CLOC:UNT? 541")
    assert other.world.line()[0] > 200.0


def test_an_emergency_stop_takes_the_line_away_until_both_it_and_a_failure_are_over() -> None:
    bench = Bench()
    bench.add("what = 'emergency stop', at = '1 s', lasts = '10 s'")
    bench.add("what = 'line failure', at = '5 s', lasts = '10 s'")
    seen = []
    for at in (0, 2, 6, 12, 16):
        bench.ask("clock", f"CLOC:UNT? {at}")
        seen.append(bench.world.line()[0] > 0.0)
    assert seen == [True, False, False, False, True]


def test_faults_of_the_computer_are_announced() -> None:
    bench = Bench()
    bench.add("what = 'clock step', shift = '-1 h', at = '10 s'")
    bench.add("what = 'clock step', shift = '90 s', at = '20 s'")
    bench.add("what = 'disk full', at = '15 s', lasts = '10 s'")
    seen = []
    for at in (5, 12, 16, 21, 30):
        bench.ask("clock", f"CLOC:UNT? {at}")
        offset, full = bench.ask("control", "HOST:CLOC:OFFS?;:HOST:DISK:FULL?").split(";")
        seen.append((float(offset), full))
    assert seen == [(0.0, "0"), (-3600.0, "0"), (-3600.0, "1"), (-3510.0, "1"), (-3510.0, "0")]
    assert '"10.000000 fault: clock step by -3600 s begins"' in bench.ask("control", "FAUL:EVEN?")


def test_a_runaway_ends_in_damage_where_the_same_heatsink_alone_does_not() -> None:
    ends = {}
    for what in ("thermal runaway", "loose heatsink"):
        bench = Bench()
        setting = dial(bench.world.parts.setting, 30.0)
        controls = replace(bench.world.controls, output_on=True, setting=setting)
        bench.world.set_controls(controls)
        bench.add(f"what = '{what}', to = '350 %', at = '1 s'")
        bench.ask("load", "CURR 3;:INP ON")
        bench.ask("clock", "CLOC:UNT? 10800")
        ends[what] = len(bench.world.happened("damage"))
    assert ends == {"thermal runaway": 1, "loose heatsink": 0}


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("what = 'smoke'", "exactly one of at, after_queries, probability"),
        ("what = 'smoke', at = '1 s', after_queries = 2", "exactly one of"),
        ("what = 'clock step', at = '1 s'", "found no shift"),
        ("what = 'disk full', at = '1 s', shift = '1 s'", "found shift"),
        ("what = 'boredom', at = '1 s'", "what"),
    ],
)
def test_a_wrong_entry_is_refused(entry: str, said: str) -> None:
    bench = Bench()
    answer = bench.ask("control", f'FAUL:ADD "{entry}";:SYST:ERR?')
    assert answer.startswith("-224")
    assert said in answer
    assert bench.ask("control", "FAUL:LIST?") == '""'


def test_every_fault_of_unit_and_room_has_a_scenario() -> None:
    shown = {fault.what for name in shipped() for fault in load(name).unit_faults}
    assert shown == set(get_args(What))
