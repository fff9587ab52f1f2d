"""The load: order of settings, read-back, refusals, trips and reboots."""

import time

import pytest
from stand_in import late, send
from table import Table, changed

from drivers.bench import OpenBench
from drivers.errors import InstrumentError, NoAnswer, RefusedSetting
from drivers.roles import Load


def load_of(bench: OpenBench) -> Load:
    assert bench.load is not None
    return bench.load


def sent(table: Table) -> list[str]:
    """Return what was set, without questions."""
    return [line for line in table.servers["load"].log if "?" not in line]


def test_level_and_mode_are_set_before_the_input_goes_on(table: Table) -> None:
    bench = table.connect("load")
    assert load_of(bench).apply("current", 1.5, on=True) == {
        "mode": "current",
        "level": 1.5,
        "on": True,
    }
    assert sent(table) == ["SOURce:CURRent 1.5", "SOURce:FUNCtion CURRent", "INPut 1"]
    bench.close()


def test_input_goes_off_before_anything_else_changes(table: Table) -> None:
    bench = table.connect("load")
    load_of(bench).apply("current", 1.5, on=True)
    load_of(bench).apply("voltage", 15.0, on=False)
    assert sent(table)[3:] == ["INPut 0", "SOURce:VOLTage 15", "SOURce:FUNCtion VOLTage"]
    assert load_of(bench).off() is True
    bench.close()


def test_setting_is_read_back_and_the_queue_read_in_one_round_trip(table: Table) -> None:
    bench = table.connect("load")
    before = len(table.servers["load"].log)
    load_of(bench).apply("power", 20.0, on=True)
    questions = [line for line in table.servers["load"].log[before:] if "?" in line]
    assert questions == [":SOURce:POWer?;:SOURce:FUNCtion?;:INPut?;:SYSTem:ERRor?"]
    bench.close()


def test_rounding_to_the_loads_own_steps_is_accepted_and_told(table: Table) -> None:
    table.load.step = 0.001
    bench = table.connect("load")
    assert load_of(bench).apply("current", 1.2344, on=True)["level"] == 1.234
    bench.close()


def test_level_that_reads_back_differently_is_refused(table: Table) -> None:
    table.load.step = 0.1
    bench = table.connect("load")
    with pytest.raises(RefusedSetting, match=r"1\.25.*reads back as 1\.2"):
        load_of(bench).apply("current", 1.25, on=True)
    bench.close()


def test_error_in_the_queue_is_quoted(table: Table) -> None:
    bench = table.connect("load")
    with pytest.raises(RefusedSetting, match=r"-222,.Data out of range;SOURce:CURRent"):
        load_of(bench).apply("current", 200.0, on=True)
    bench.close()


def test_latched_trip_is_an_error(table: Table) -> None:
    table.load.trips = True
    bench = table.connect("load")
    with pytest.raises(RefusedSetting, match=r"input was set to on, but reads back as off"):
        load_of(bench).apply("current", 1.0, on=True)
    bench.close()


def test_trip_later_on_is_a_complaint(table: Table) -> None:
    bench = table.connect("load")
    load_of(bench).apply("current", 1.0, on=True)
    assert bench.check_errors() == ()
    table.load.on = False
    assert bench.check_errors() == ("load: its input is off though it was switched on",)
    bench.close()


def test_lost_answer_while_setting_is_set_again(table: Table) -> None:
    bench = table.connect("load")
    question = ":SOURce:CURRent?;:SOURce:FUNCtion?;:INPut?;:SYSTem:ERRor?"
    table.servers["load"].special[question] = late(0.6, b'9;CURR;1;0,"No error"\n')
    assert load_of(bench).apply("current", 1.5, on=True)["level"] == 1.5
    assert "asked again" in table.kinds()
    bench.close()


def test_missing_answer_is_explained_by_the_error_queue(table: Table) -> None:
    bench = table.connect("load")
    server = table.servers["load"]
    question = ":SOURce:CURRent?;:SOURce:FUNCtion?;:INPut?;:SYSTem:ERRor?"

    def give_up(*_: object) -> None:
        server.errors.append('-113,"Undefined header"')

    server.special[question] = give_up
    with pytest.raises(RefusedSetting, match=r"no answer came in time.*-113"):
        load_of(bench).apply("current", 1.5, on=True)
    bench.close()


def test_load_that_was_restarted_is_noticed_before_its_reading_counts(table: Table) -> None:
    bench = table.connect("load")
    load_of(bench).apply("current", 1.5, on=True)
    table.load.on = False
    table.servers["load"].hang_up()
    time.sleep(0.05)
    with pytest.raises(RefusedSetting, match=r"after the link was lost.*input"):
        bench.read(("current.load",))
    assert load_of(bench).off() is True  # making safe must still work
    bench.close()


def test_load_that_kept_its_state_goes_on_after_a_lost_link(table: Table) -> None:
    bench = table.connect("load")
    load_of(bench).apply("current", 1.5, on=True)
    table.servers["load"].hang_up()
    time.sleep(0.05)
    assert bench.read(("current.load",))[0].value == 1.5
    bench.close()


def test_silent_load_is_an_error_and_its_late_answer_is_dropped(table: Table) -> None:
    bench = table.connect("load")
    server = table.servers["load"]
    question = ":INPut?;:SYSTem:ERRor?"
    server.special[question] = late(0.5, b'0;0,"No error"\n')
    server.forever.add(question)
    with pytest.raises(NoAnswer):
        load_of(bench).off()
    bench.close()


def test_off_is_refused_when_the_input_stays_on(table: Table) -> None:
    bench = table.connect("load")
    table.servers["load"].special[":INPut?;:SYSTem:ERRor?"] = send(b'1;0,"No error"\n')
    with pytest.raises(RefusedSetting, match=r"reads back as on"):
        load_of(bench).off()
    bench.close()


def test_dialect_without_read_back_does_not_claim_confirmation(table: Table, tmp_path) -> None:  # type: ignore[no-untyped-def]
    dialect = tmp_path / "blind.toml"
    dialect.write_text(
        'description = "x"\nroles = ["load"]\n'
        '[settings.mode]\nwrite = "SOURce:FUNCtion {value}"\nvalues = {current = "CURRent"}\n'
        '[settings.input]\nwrite = "INPut {value}"\nvalues = {on = "1", off = "0"}\n'
        '[settings.level_current]\nwrite = "SOURce:CURRent {value}"\n'
    )
    bench = table.open(changed(table.spec(("load",), ()), "load", dialect=str(dialect)))
    assert load_of(bench).off() is False
    with pytest.raises(InstrumentError, match=r"no setting 'level_voltage'.*level_current"):
        load_of(bench).apply("voltage", 1.0, on=True)
    bench.close()


@pytest.mark.parametrize("answer", [b"1.5;CURR;1\n", b"1.5;CURR;1;0\xff\n", b"1.5;CURR;1;what\n"])
def test_damaged_read_back_is_asked_for_again(table: Table, answer: bytes) -> None:
    bench = table.connect("load")
    question = ":SOURce:CURRent?;:SOURce:FUNCtion?;:INPut?;:SYSTem:ERRor?"
    table.servers["load"].special[question] = send(answer)
    assert load_of(bench).apply("current", 1.5, on=True)["on"] is True
    assert "asked again" in table.kinds()
    bench.close()
