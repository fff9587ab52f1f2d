"""Resistors beside the load in a run: order, proof, guards, and making safe."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from documents_made_up import BENCH, changed
from stand_in_bench import Notebook, StandInBench, StandInSwitch

from sequencer.documents.bench import BenchDocument
from sequencer.documents.resistors import Resistor
from sequencer.errors import GuardTripped, TrialStopped
from sequencer.requests import Apply, LoadState, Read, SupplyState
from sequencer.run.guard_bound import GuardBound
from sequencer.run.guards import Guards
from sequencer.run.live import LiveBench
from sequencer.run.make_safe import make_safe
from sequencer.run.operating_point import OperatingPoint
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_job_of import safe_job_of

VOLTS, OHMS = 30.0, 25.0
SWITCHED: dict[str, Any] = {
    "resistance": "25 Ω", "power": "100 W", "by": "switch", "switch": "relays", "output": "101",
}  # fmt: skip
BY_HAND: dict[str, Any] = {"resistance": "25 Ω", "power": "100 W", "by": "hand"}
FULL = LoadState("current", 1.8, on=True, resistors=(1,))
OFF = LoadState("current", 0.0, on=False)


class Table:
    """A stand-in bench whose current is the load's and the resistor's, and a live bench on it."""

    def __init__(self, how: dict[str, Any], bounds: Sequence[GuardBound] = ()) -> None:
        self.bench = StandInBench({})
        self.switch = StandInSwitch()
        self.bench.switches["relays"] = self.switch
        self.connected = False
        self.output = True
        self.bench.channels = {
            "voltage.sense": lambda _: VOLTS if self.output else 0.0,
            "current.shunt": lambda _: self.current,
        }
        assert self.bench.operator is not None
        self.bench.operator.on_hearing = self._heard
        point = OperatingPoint(
            voltage_channels=("voltage.sense",),
            current_channels=("current.shunt",),
            rated_current=3.0,
            resistors=(Resistor.model_validate(how),),
        )
        self.live = LiveBench(self.bench, Notebook(), Guards(bounds, point=point))
        point.supply(SupplyState(voltage=VOLTS), 0.0)

    @property
    def current(self) -> float:
        load = self.bench.load
        assert load is not None
        beside = VOLTS / OHMS if self.connected or "101" in self.switch.closed else 0.0
        return (beside + (load.level if load.on else 0.0)) if self.output else 0.0

    def _heard(self, text: str) -> None:
        if "onnect" in text:
            self.connected = text.startswith("Connect")
        if text == "Switch the output off.":
            self.output = False

    def safe(self, *order: str) -> tuple[bool, str]:
        report = make_safe(
            self.bench,
            order,
            current_channels=("current.shunt",),
            voltage_channels=("voltage.sense",),
            relays=(("relays", "101"),),
            aloud=self.aloud.append,
        )
        return report.verified, str(report)

    @property
    def aloud(self) -> list[str]:
        if not hasattr(self, "_aloud"):
            self._aloud: list[str] = []
        return self._aloud


def test_the_load_is_off_while_a_relay_moves() -> None:
    table = Table(SWITCHED)
    table.live.answer(Apply(FULL))
    assert table.current == pytest.approx(3.0)
    assert table.bench.load is not None
    assert table.bench.load.history == [("current", 0.0, False), ("current", 1.8, True)]
    table.live.answer(Apply(replace(FULL, level=1.7)))
    assert len(table.bench.load.history) == 3  # the same resistors: nothing moves
    table.live.answer(Apply(OFF))
    assert table.switch.closed == set()


def test_a_person_connects_and_the_current_proves_it() -> None:
    table = Table(BY_HAND)
    table.live.answer(Apply(FULL))
    assert table.bench.operator is not None
    assert table.bench.operator.heard == [
        "Connect resistor 1 (25 ohm) across the load's terminals."
    ]
    table.live.answer(Apply(OFF))
    assert table.bench.operator.heard[1:] == [
        "Disconnect resistor 1 (25 ohm) from the load's terminals."
    ]
    assert table.current == 0.0


def test_what_was_not_connected_is_not_taken_for_connected() -> None:
    table = Table(BY_HAND)
    assert table.bench.operator is not None
    table.bench.operator.on_hearing = lambda _: None
    with pytest.raises(TrialStopped, match="not what resistor 1 of 25 ohm draws"):
        table.live.answer(Apply(FULL))
    assert table.bench.load is not None
    assert not table.bench.load.on


@pytest.mark.parametrize("load_power", [60.0, 50.0])
def test_the_guard_of_the_load_counts_only_what_the_load_takes(load_power: float) -> None:
    table = Table(SWITCHED, (GuardBound("power.load", at_most=load_power, source="its rating"),))
    table.live.answer(Apply(FULL))
    read = Read(("voltage.sense", "current.shunt"), count=2, period_s=1.0)
    if load_power < 54.0:  # 1.8 A at 30 V
        with pytest.raises(GuardTripped, match=r"power\.load"):
            table.live.answer(read)
    else:
        table.live.answer(read)


def test_a_resistor_that_stays_connected_trips_the_departure_of_the_current() -> None:
    table = Table(SWITCHED, (GuardBound("departure.current", at_most=0.0, source="asked"),))
    table.connected = True  # a second one, by some hand
    table.live.answer(Apply(OFF))
    with pytest.raises(GuardTripped, match=r"departure\.current"):
        table.live.answer(Read(("voltage.sense", "current.shunt"), count=2, period_s=1.0))


def test_making_safe_opens_the_relay_and_proves_it_by_the_current() -> None:
    table = Table(SWITCHED)
    table.live.answer(Apply(FULL))
    verified, text = table.safe("load", "resistors")
    assert verified, text
    assert table.switch.closed == set()
    assert table.current == 0.0


def test_a_welded_relay_is_told_though_the_supply_takes_the_current_away() -> None:
    table = Table(SWITCHED)
    table.live.answer(Apply(FULL))
    table.switch.welded = {"101"}
    verified, text = table.safe("load", "resistors", "supply")
    assert not verified
    assert "resistors off" in text
    assert "Resistors may still be connected" in text
    assert table.current == 0.0  # the output is off; the resistor is not


def test_a_switch_that_is_not_reached_is_told() -> None:
    table = Table(SWITCHED)
    del table.bench.switches["relays"]
    verified, text = table.safe("load", "resistors", "supply")
    assert not verified
    assert "not reached: relays" in text


def test_a_person_is_asked_only_where_current_still_flows() -> None:
    table = Table(BY_HAND)
    table.live.answer(Apply(FULL))
    verified, _ = table.safe("load", "resistors by hand")
    assert verified
    assert not table.connected
    assert "hot enough to burn" in " ".join(table.aloud)
    table.aloud.clear()
    assert table.safe("load", "resistors by hand")[0]
    assert table.aloud == []


def test_a_job_for_the_guardian_holds_relays_right_after_the_load() -> None:
    channel = BENCH["channels"]["voltage.sense"] | {"shunt": "10 mΩ"}
    data = changed(BENCH, "channels", "current.shunt", to=channel)
    data = changed(
        data, "instruments", "relays",
        to={"role": "switch", "dialect": "scpi-switch", "address": "GPIB0::10"},
    )  # fmt: skip
    data = changed(data, "load", "resistors", to=[SWITCHED, BY_HAND])
    job = safe_job_of(BenchDocument.model_validate(data))
    assert job.order == ("load", "resistors", "resistors by hand", "supply")
    assert job.relays == (("relays", "101"),)
    assert SafeJob.from_json(job.as_json()) == job
