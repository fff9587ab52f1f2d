"""The person who turns knobs: at the terminal, or spoken to as an instrument."""

import os
import select
from collections.abc import Mapping
from typing import TextIO

from drivers.instrument import Instrument
from drivers.roles import OperatorState

GIVE_UP = ("q", "quit")
"""What the person types, with Enter, when the instruction can't be done."""

DONE = frozenset({"", "y", "yes", "ok", "done"})
"""What may stand before Enter where it says "done"."""

ERASE_LINE = "\r\x1b[2K"
"""ECMA-48: carriage return, then erase the whole line."""


class InstrumentOperator:
    """A person behind an address, as on a simulated bench."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._asked = False

    def instruct(self, text: str) -> None:
        """Give an instruction in plain English."""
        self._asked = False
        plain = text.replace('"', '""').encode("ascii", "replace").decode("ascii")
        self._instrument.once_more(
            lambda: self._instrument.act("instruct", confirmed=True, text=plain)
        )

    def show(self, text: str, value: float, *, within: bool) -> None:  # noqa: ARG002
        """Show the live reading (SI) and whether it is in its band."""
        self._instrument.once_more(
            lambda: self._instrument.act(
                "show", confirmed=False, value=f"{value:.9g}", within=str(int(within))
            )
        )

    def ask_value(self, text: str, meter: str) -> None:  # noqa: ARG002  # the name says it all
        """Ask what a meter without an interface shows."""
        self._asked = True
        self._instrument.once_more(
            lambda: self._instrument.act("read_meter", confirmed=True, text=meter)
        )

    def reply(self, text: str) -> None:
        """Say nothing: who types by wire reads no answer."""

    def state(self) -> OperatorState:
        """Return what the person says now."""
        match self._instrument.once_more(lambda: self._instrument.word("state")):
            case "busy":
                return OperatorState("busy")
            case "done" if self._asked:
                typed = self._instrument.once_more(lambda: self._instrument.text("typed"))
                return OperatorState("done", typed=typed.strip('"'))
            case "done":
                return OperatorState("done")
            case _:
                return OperatorState("confused", "the person could not do it or did not understand")

    def finish(self) -> None:
        """Tell the person that the instruction is done with."""
        self._instrument.once_more(lambda: self._instrument.act("finish", confirmed=True))


class TerminalOperator:
    """A person at the terminal: instructions on `prompt`, keys from `answers`, never waiting.

    Enter says "done" (a value typed with it does not), q and Enter "I can't". Instructions with a
    live reading need no key: the caller sees from the reading that it was done. `units` names each
    channel's unit.
    """

    def __init__(self, prompt: TextIO, answers: TextIO, units: Mapping[str, str]) -> None:
        self._prompt = prompt
        self._answers = answers
        self._units = units
        self._in_place = prompt.isatty()
        self._said = OperatorState("busy")
        self._shown: bool | None = None
        self._typed = ""
        self._wants_value = False

    def instruct(self, text: str) -> None:
        """Write an instruction and what can be typed; forget what was typed before."""
        self._wants_value = False
        self._begin(f"{text}\n   (Enter when done, q and Enter if it can't be done)\n")

    def ask_value(self, text: str, meter: str) -> None:  # noqa: ARG002  # the text names it
        """Write what is to be read; the next line that is typed is its value."""
        self._wants_value = True
        self._begin(f"{text}\n   (value and Enter; q and Enter if it can't be read): ")

    def reply(self, text: str) -> None:
        """Write how a typed value was understood."""
        self._write(f"   = {text}\n")

    def _begin(self, text: str) -> None:
        self._lines()
        self._typed = ""
        self._said = OperatorState("busy")
        self._shown = None
        self._write(f"\n>> {text}")

    def show(self, text: str, value: float, *, within: bool) -> None:
        """Renew the live reading in place; without a terminal, only when the band is crossed."""
        mark = "in its band" if within else "not yet"
        line = f"   {text} {value:.4f} {self._units.get(text, '')}  {mark}"
        if self._in_place:
            self._write(ERASE_LINE + line)
        elif within != self._shown:
            self._write(line + "\n")
        self._shown = within

    def state(self) -> OperatorState:
        """Return what the person has typed since the instruction; returns at once."""
        for line in self._lines():
            if line.strip().lower() in GIVE_UP:
                self._said = OperatorState("confused", "the person at the terminal gave up")
            elif self._said.state == "busy" and not self._wants_value and not _is_done(line):
                self._write(f"   {line.strip()!r} is not taken for done: press Enter alone then.\n")
            elif self._said.state == "busy":
                self._said = OperatorState("done", typed=line.strip())
        return self._said

    def finish(self) -> None:
        """End the live reading's line."""
        if self._in_place and self._shown is not None:
            self._write("\n")
        self._shown = None

    def _write(self, text: str) -> None:
        self._prompt.write(text)
        self._prompt.flush()

    def _lines(self) -> list[str]:
        """Return the whole lines that wait in the input, without waiting for more."""
        try:
            number = self._answers.fileno()
            while select.select([number], [], [], 0)[0]:
                block = os.read(number, 4096)
                if not block:
                    self._said = OperatorState("confused", "the terminal's input has ended")
                    break
                self._typed += block.decode(errors="replace")
        except (OSError, ValueError) as error:
            self._said = OperatorState("confused", f"the terminal can't be read ({error})")
        *lines, self._typed = self._typed.split("\n")
        return lines


def _is_done(line: str) -> bool:
    return line.strip().lower() in DONE
