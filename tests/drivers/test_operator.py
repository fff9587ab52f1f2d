"""The person: at the terminal, never waited for, and as an instrument."""

import io
import os
import time
from collections.abc import Iterator
from typing import TextIO

import pytest
from table import Table

from drivers.errors import RefusedSetting
from drivers.operator import TerminalOperator


class Screen(io.StringIO):
    def __init__(self, *, terminal: bool) -> None:
        super().__init__()
        self._terminal = terminal

    def isatty(self) -> bool:
        return self._terminal


@pytest.fixture
def keys() -> Iterator[tuple[TextIO, TextIO]]:
    reading, writing = os.pipe()
    with os.fdopen(reading) as answers, os.fdopen(writing, "w") as keyboard:
        yield answers, keyboard


def press(keyboard: TextIO, text: str) -> None:
    keyboard.write(text)
    keyboard.flush()


def test_state_returns_at_once_while_nothing_is_typed(keys: tuple[TextIO, TextIO]) -> None:
    operator = TerminalOperator(Screen(terminal=True), keys[0], {})
    operator.instruct("Switch the output on.")
    start = time.monotonic()
    assert operator.state().state == "busy"
    assert time.monotonic() - start < 0.1


def test_enter_means_done_and_half_a_line_does_not(keys: tuple[TextIO, TextIO]) -> None:
    operator = TerminalOperator(Screen(terminal=True), keys[0], {})
    operator.instruct("Switch the output on.")
    press(keys[1], "o")
    assert operator.state().state == "busy"
    press(keys[1], "k\n")
    assert operator.state().state == "done"
    operator.instruct("Switch the output off.")
    assert operator.state().state == "busy"


@pytest.mark.parametrize("typed", ["0.000 V", "20,001", "abc", "no"])
def test_what_is_typed_ahead_of_enter_is_not_taken_for_done(
    keys: tuple[TextIO, TextIO], typed: str
) -> None:
    screen = Screen(terminal=True)
    operator = TerminalOperator(screen, keys[0], {})
    operator.instruct("Switch the output on.")
    press(keys[1], f"{typed}\n")
    assert operator.state().state == "busy"
    assert f"{typed!r} is not taken for done: press Enter alone then." in screen.getvalue()
    press(keys[1], "\n")
    assert operator.state().state == "done"


def test_q_means_confused_and_stays_so(keys: tuple[TextIO, TextIO]) -> None:
    operator = TerminalOperator(Screen(terminal=True), keys[0], {})
    operator.instruct("Set the output voltage to 30.000 V.")
    press(keys[1], "Q\n\n")
    assert operator.state().state == "confused"
    assert "gave up" in operator.state().remark


def test_keys_typed_before_the_instruction_do_not_count(keys: tuple[TextIO, TextIO]) -> None:
    operator = TerminalOperator(Screen(terminal=True), keys[0], {})
    press(keys[1], "\n")
    operator.instruct("Switch the output on.")
    assert operator.state().state == "busy"


def test_end_of_input_is_confused_not_done() -> None:
    with open(os.devnull) as nothing:  # noqa: PTH123
        operator = TerminalOperator(Screen(terminal=False), nothing, {})
        operator.instruct("Switch the output on.")
        assert operator.state().state == "confused"
        assert "ended" in operator.state().remark


def test_input_that_is_no_file_is_confused() -> None:
    operator = TerminalOperator(Screen(terminal=False), io.StringIO("\n"), {})
    operator.instruct("Switch the output on.")
    assert operator.state().state == "confused"


def test_live_reading_is_renewed_in_place(keys: tuple[TextIO, TextIO]) -> None:
    screen = Screen(terminal=True)
    operator = TerminalOperator(screen, keys[0], {"voltage.sense": "V"})
    operator.instruct("Set the output voltage to 30.000 V.")
    operator.show("voltage.sense", 29.9, within=False)
    operator.show("voltage.sense", 30.0001, within=True)
    operator.finish()
    written = screen.getvalue()
    assert ">> Set the output voltage to 30.000 V." in written
    assert written.endswith("\r\x1b[2K   voltage.sense 30.0001 V  in its band\n")
    assert written.count("\n") == 4


def test_without_a_terminal_only_changes_are_written(keys: tuple[TextIO, TextIO]) -> None:
    screen = Screen(terminal=False)
    operator = TerminalOperator(screen, keys[0], {"voltage.sense": "V"})
    for value in (1.0, 2.0, 30.0, 30.1):
        operator.show("voltage.sense", value, within=value > 29)
    assert screen.getvalue().count("voltage.sense") == 2
    assert "\x1b" not in screen.getvalue()


def test_person_as_instrument(table: Table) -> None:
    bench = table.connect("person")
    operator = bench.operator
    assert operator is not None
    server = table.servers["person"]
    operator.instruct('Set the "output" to 5 Ω.')
    assert server.log[-2:] == ['OPERator:INSTruct "Set the ""output"" to 5 ?."', "SYSTem:ERRor?"]
    assert operator.state().state == "busy"
    operator.show("voltage.sense", 29.999, within=True)
    server.answers["OPERator:STATe?"] = "DONE"
    assert operator.state().state == "done"
    assert server.log[-2:] == ["OPERator:SHOW 29.999,1", "OPERator:STATe?"]
    server.answers["OPERator:STATe?"] = "CONFUSED"
    assert operator.state().state == "confused"
    operator.finish()
    assert "OPERator:FINish" in server.log
    bench.close()


def test_instruction_that_the_instrument_refuses_is_an_error(table: Table) -> None:
    bench = table.connect("person")
    del table.servers["person"].settings["OPERator:INSTruct"]
    assert bench.operator is not None
    with pytest.raises(RefusedSetting, match=r"-113"):
        bench.operator.instruct("Switch the output on.")
    bench.close()


def test_a_value_is_typed_at_the_terminal(keys: tuple[TextIO, TextIO]) -> None:
    screen = Screen(terminal=True)
    operator = TerminalOperator(screen, keys[0], {"voltage.sense": "V"})
    press(keys[1], "left over\n")
    operator.ask_value("Read the meter handheld and type what it shows.", "handheld")
    assert operator.state().state == "busy"
    press(keys[1], " 29,98")
    assert operator.state().state == "busy"  # not before Enter
    press(keys[1], " V\nmore")
    said = operator.state()
    assert (said.state, said.typed) == ("done", "29,98 V")
    operator.reply("voltage.sense: 29.98 V")
    assert screen.getvalue().endswith("   = voltage.sense: 29.98 V\n")
    operator.ask_value("Again.", "handheld")
    press(keys[1], "q\n")
    assert operator.state().state == "confused"


def test_a_value_is_typed_by_a_person_as_instrument(table: Table) -> None:
    bench = table.connect("person")
    operator = bench.operator
    assert operator is not None
    server = table.servers["person"]
    server.settings["OPERator:READ:METer"] = lambda _: None
    operator.ask_value("Read the meter handheld.", "handheld")
    assert server.log[-2:] == ['OPERator:READ:METer "handheld"', "SYSTem:ERRor?"]
    server.answers["OPERator:STATe?"] = "DONE"
    server.answers["OPERator:TYPed?"] = '"29.98 V"'
    assert operator.state().typed == "29.98 V"
    bench.close()
