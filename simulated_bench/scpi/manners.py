"""How an instrument speaks, apart from what it can do: the quirks that instruments have."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Manners:
    """One instrument's ways; the defaults are the standard's."""

    line_end: bytes = b"\n"
    unit_suffix: bool = False
    """Numbers are answered with their unit, which IEEE 488.2 (8.7) does not allow."""
    error_queue: bool = True
    """Without one there is no ``SYSTem:ERRor?``; mistakes show only in the event register."""
    remote_lock: bool = False
    """Settings are refused (−203) until ``SYSTem:REMote``, and again after ``SYSTem:LOCal``."""
    echo: bool = False
    """Each line is sent back before its answer, as a console does."""


STANDARD: Manners = Manners()


def echoing(answer: Callable[[bytes], bytes], manners: Manners) -> Callable[[bytes], bytes]:
    """Return what answers a message after sending the message itself back."""

    def echoed(message: bytes) -> bytes:
        return message.rstrip(b"\r") + manners.line_end + answer(message)

    return echoed if manners.echo else answer
