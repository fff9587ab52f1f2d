"""The standard's error numbers (SCPI-1999, volume 2, chapter 21.8) and the exception for them."""

from typing import Final

STANDARD: Final[dict[int, str]] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -123: "Exponent too large",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -151: "Invalid string data",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -171: "Invalid expression",
    -200: "Execution error",
    -203: "Command protected",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -300: "Device-specific error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}

LONGEST_DETAIL: Final = 200
"""SCPI-1999 allows 255 characters for the whole description."""


class ScpiError(Exception):
    """A standard error that an instrument puts into its queue.

    Parameters
    ----------
    number
        A number of `STANDARD`.
    detail
        What stands after the semicolon of the description; may be empty.
    """

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(number, detail)
        self.number = number
        self.detail = detail

    @property
    def command(self) -> bool:
        """Whether this is a command error, after which the rest of the message is dropped."""
        return -200 < self.number <= -100

    def entry(self) -> str:
        """Return the queue's entry: number and quoted description."""
        text = STANDARD[self.number]
        if self.detail:
            plain = "".join(c if " " <= c <= "~" else "?" for c in self.detail[:LONGEST_DETAIL])
            text += ";" + plain.replace('"', "'")
        return f'{self.number},"{text}"'
