"""Values that a person types: understood, doubted, guarded, with times and text as they were."""

from math import isnan
from typing import Any

import pytest
from documents_made_up import BENCH, changed, mistakes
from hypothesis import given
from hypothesis import strategies as st
from stand_in_bench import Notebook, StandInBench

from sequencer.documents.bench import BenchDocument
from sequencer.documents.parsing import QuantityError
from sequencer.errors import GuardTripped, TrialStopped
from sequencer.requests import (
    Apply,
    Ask,
    LoadState,
    Read,
    Readings,
    Settle,
    Settled,
    SupplyState,
)
from sequencer.run.guard_bound import GuardBound
from sequencer.run.guards import Guards
from sequencer.run.live import LiveBench
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.typed import Typist, understood
from sequencer.run.typed_digits import too_fine

BY_EYE = changed(BENCH, "instruments", "meter", to={"role": "voltmeter", "operator": "terminal"})
DOCUMENT = BenchDocument.model_validate(BY_EYE)
CHANNEL = DOCUMENT.channels["voltage.sense"]


class Table:
    """A stand-in bench at 30 V whose voltmeter only a person can read, and a live bench on it."""

    def __init__(self, *lines: str, bounds: tuple[GuardBound, ...] = ()) -> None:
        self.bench = StandInBench({"current.load": lambda _: 1.0})
        assert self.bench.operator is not None
        self.person = self.bench.operator
        self.person.lines = list(lines)
        self.notes = Notebook()
        guards = Guards(bounds)
        channels = {name: DOCUMENT.channels[name] for name in DOCUMENT.typed}
        typist = Typist(channels, self.person, self.bench.clock, guards.point)
        self.live = LiveBench(self.bench, self.notes, guards, typist=typist)
        self.point = guards.point
        self.point.supply(SupplyState(voltage=30.0), 0.0)

    def read(self, count: int = 1, period_s: float = 1.0) -> Readings:
        request = Read(("voltage.sense", "current.load"), count, period_s)
        reply = self.live.answer(request)
        assert isinstance(reply, Readings)
        return reply


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("29.98 V", 29.98),
        ("29.98", 29.98),
        ("29,98 V", 29.98),
        (" 29980 mV ", 29.98),
        ("-0.5mV", -0.0005),
        ("2.998e1", 29.98),
        ("29980000 µV", 29.98),
        ("29.", 29.0),
        ("\u22120.5 mV", -0.0005),
        ("29.98 VDC", 29.98),
        ("29980 mV dc", 29.98),
    ],
)
def test_typed_text_is_understood(text: str, value: float) -> None:
    assert understood(text, CHANNEL) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["OL", " 0.L ", "O.L", ".OL", "-OL", "\u2212 0L.", "ol"])
def test_an_overload_is_no_number(text: str) -> None:
    assert isnan(understood(text, CHANNEL))


@pytest.mark.parametrize(
    "text", ["", "volts", "3 A", "30 V V", "1.2.3", "nan", "3 degC", "1,2,3", "3 VAC", "."]
)
def test_what_is_no_voltage_is_not_understood(text: str) -> None:
    with pytest.raises(QuantityError):
        understood(text, CHANNEL)


@given(st.floats(-1e3, 1e3), st.sampled_from(["", " V", "V"]))
def test_any_number_comes_back(value: float, unit: str) -> None:
    assert understood(f"{value:.6f}{unit}", CHANNEL) == pytest.approx(value, abs=1e-6)


def test_a_comma_that_may_part_thousands_is_asked_about_where_both_are_plausible() -> None:
    table = Table("1,000 mV", "1.000 mV")
    table.point.supply(SupplyState(voltage=0.5), 0.0)
    assert table.read().value["voltage.sense"] == pytest.approx([1e-3])
    assert any("may be 1 mV or 1 V" in one for one in table.person.asked)
    sure = Table("29,981 mV", "29981 mV")  # as thousands it is what was set
    assert sure.read().value["voltage.sense"] == pytest.approx([29.981])
    assert any("may be 29.981 mV or 29.981 V" in one for one in sure.person.asked)
    plain = Table("29,981")  # no meter of 30 V shows 29981 V
    assert plain.read().value["voltage.sense"] == pytest.approx([29.981])


def test_a_shunts_voltage_becomes_a_current() -> None:
    channel = CHANNEL.model_copy(update={"shunt": 0.01})
    assert understood("25 mV", channel) == pytest.approx(2.5)


def test_a_reading_holds_what_was_typed_and_when() -> None:
    table = Table("29,98 V")
    reply = table.read()
    assert reply.value["voltage.sense"] == pytest.approx([29.98])
    (seq, tick, role, reading) = table.notes.readings[0]
    assert (seq, tick, role, reading.raw) == (0, 0, "read", "29,98 V")
    assert table.person.replies == ["voltage.sense: 29.98 V"]


def test_one_value_is_typed_for_a_point_and_the_others_follow_it() -> None:
    table = Table("30.01")
    reply = table.read(count=5, period_s=0.5)
    assert reply.value["voltage.sense"].size == 1
    assert reply.value["current.load"].size == 5
    assert not [event for event in table.notes.events if event[0] == "late"]


def test_with_time_enough_each_reading_is_typed() -> None:
    table = Table("30.01", "30.02", "30.03")
    reply = table.read(count=3, period_s=60.0)
    assert list(reply.value["voltage.sense"]) == [30.01, 30.02, 30.03]


def test_a_slip_is_asked_again_and_the_right_value_is_taken() -> None:
    table = Table("299.8", "29.98")
    assert list(table.read().value["voltage.sense"]) == [29.98]
    assert "'299.8' is not between 28 V and 32 V" in table.person.asked[1]
    assert len(table.notes.readings) == 2  # typed and current, nothing of the slip


SIX_THOUSAND = CHANNEL.model_copy(
    update={
        "range": 60.0,
        "accuracy": CHANNEL.accuracy.model_copy(update={"display": 6000, "resolution": 0.0}),
    }
)


@pytest.mark.parametrize(
    ("text", "fine"),
    [
        ("1.23456", True),
        ("29.981 V", True),
        ("29981 mV", True),
        ("1,23456", True),
        ("29.98", False),
        ("29.9800", False),
        ("29980 mV", False),
        ("5.998", False),  # the meter has gone to its range of 6 V
        ("0.05998 V", False),
        ("6.001", True),
        ("60.00", False),
        ("OL", False),
    ],
)
def test_more_digits_than_the_meters_counts_are_seen_in_any_range(text: str, fine: bool) -> None:
    assert too_fine(text, SIX_THOUSAND) is fine


def test_a_display_stated_by_its_step_counts_as_well_and_one_not_stated_says_nothing() -> None:
    accuracy = CHANNEL.accuracy.model_copy(update={"display": None, "resolution": 0.01})
    stepped = CHANNEL.model_copy(update={"range": 60.0, "accuracy": accuracy})
    assert too_fine("29.981", stepped)
    assert not too_fine("29.98", stepped)
    assert not too_fine("29.98123456", CHANNEL)


def test_a_value_finer_than_the_display_is_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(DOCUMENT.channels, "voltage.sense", SIX_THOUSAND)  # type: ignore[arg-type]
    table = Table("29.98123", "29.98")
    assert list(table.read().value["voltage.sense"]) == [29.98]
    said = "'29.98123' has more digits than the 6000 counts of the meter"
    assert said in table.person.asked[1]
    assert list(Table("29.98123", "29.98123").read().value["voltage.sense"]) == [29.98123]


def test_what_was_not_understood_is_asked_again() -> None:
    table = Table("3 A", "30 V")
    assert list(table.read().value["voltage.sense"]) == [30.0]
    assert "That was not understood" in table.person.asked[1]


def test_the_same_implausible_value_twice_is_taken_and_meets_the_guard() -> None:
    table = Table("36 V", "36 V", bounds=(GuardBound("voltage.sense", at_most=35.0, source="t"),))
    with pytest.raises(GuardTripped, match=r"voltage\.sense was 36 V"):
        table.read()
    assert table.notes.readings[0][3].raw == "36 V"


def test_an_overload_that_is_meant_trips_too() -> None:
    table = Table("OL", "OL", bounds=(GuardBound("voltage.sense", at_most=35.0, source="t"),))
    with pytest.raises(GuardTripped, match="over its meter's range"):
        table.read()


def test_guards_look_while_the_person_thinks_and_nothing_waits_for_ever() -> None:
    hot = GuardBound("current.load", at_most=2.0, source="t")
    table = Table(bounds=(hot,))
    table.bench.channels = {"current.load": lambda at: 1.0 if at < 30.0 else 3.0}
    with pytest.raises(GuardTripped, match=r"current\.load"):
        table.read()
    assert table.bench.clock.time < 40.0
    with pytest.raises(TrialStopped, match="No value of meter was typed within 600 s"):
        Table().read()


def test_a_typed_channel_that_is_guarded_is_not_missed_between_two_values() -> None:
    table = Table("30 V", bounds=(GuardBound("voltage.sense", at_most=35.0, source="t"),))
    table.read()
    table.live.answer(Read(("current.load",), count=100, period_s=1.0))


def test_who_turns_a_knob_types_until_it_is_in_its_band() -> None:
    table = Table("29.5", "30.005")
    state = SupplyState(voltage=30.0, output=True, band=0.03)
    table.live.answer(Apply(state))
    assert table.person.heard[-1] == "Set the output voltage to 30.000 V."
    assert table.person.lines == []


def test_a_typed_meters_leads_are_moved_by_word_and_one_value() -> None:
    table = Table("29.9")
    reply = table.live.answer(Ask("Move.", "voltage.sense", 29.5, 30.5, 60.0, lifted=True))
    assert getattr(reply, "done", False)
    assert not table.live.leads.in_air


def test_settling_waits_its_window_where_only_a_person_could_tell() -> None:
    table = Table()
    reply = table.live.answer(Settle({}, window_s=2.5, period_s=0.5, limit_s=30.0))
    assert isinstance(reply, Settled)
    assert reply.settled
    assert reply.waited_s == pytest.approx(2.5)


def test_what_is_plausible_follows_the_load() -> None:
    table = Table("1.02", "1.02")
    channels = {"current.shunt": DOCUMENT.channels["current.load"]}
    point = table.live._guards.point
    typist = Typist(channels, table.person, table.bench.clock, point)
    point.load(LoadState("current", 1.0, on=True), 0.0)
    assert typist.read("current.shunt", lambda _: None).value == 1.02
    assert len(table.person.asked) == 1
    point.load(LoadState("current", 0.0, on=False), 0.0)
    table.person.lines = ["1.02", "0.00"]
    assert typist.read("current.shunt", lambda _: None).value == 0.0


def test_nobody_is_asked_while_making_safe_and_the_loads_reading_proves() -> None:
    readback = {"instrument": "sink", "function": "voltage", "accuracy": {"offset": "10 mV"}}
    data = changed(BY_EYE, "channels", "voltage.readback", to=readback)
    job = safe_job_of(BenchDocument.model_validate(data))
    assert job.voltage_channels == ("voltage.readback",)
    assert job.spec.typed == {"voltage.sense": "V"}
    assert [one.name for one in job.spec.instruments] == ["sink", "warmth"]
    assert SafeJob.from_json(job.as_json()) == job


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(BENCH, "instruments", "meter", to={"role": "voltmeter", "address": "GPIB0::1"}),
            "instruments.meter.dialect: found nothing, expected a dialect, or an operator",
        ),
        (
            changed(BY_EYE, "instruments", "meter", "address", to="GPIB0::1"),
            "instruments.meter.address: found a key address, expected no such key",
        ),
        (
            changed(BY_EYE, "instruments", "meter", "operator", to="instrument"),
            'instruments.meter.operator: found "instrument", expected "terminal"',
        ),
        (
            changed(BY_EYE, "instruments", "meter", "role", to="scanner"),
            'instruments.meter.role: found "scanner", expected voltmeter or ammeter',
        ),
        (
            changed(BY_EYE, "channels", "voltage.sense", "integration", to="100 ms"),
            'channels."voltage.sense".integration: found a key integration, expected no such key',
        ),
    ],
)
def test_mistakes_are_told(data: dict[str, Any], line: str) -> None:
    found = mistakes(BenchDocument, data)
    assert any(one.startswith(line) for one in found), found
