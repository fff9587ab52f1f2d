"""The one place where whatever the libraries raise becomes one of our errors.

pyvisa and pyvisa-py raise VisaIOError, kinds of OSError, bare Exception, RuntimeError, ValueError,
TypeError and, over a serial port, SerialException.
"""

from dataclasses import dataclass

from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable
from drivers.link import Closed, Late, Stale

CHECK_CABLE = "Look at its power, its cable and its address in the bench document"
VISA_TIME_OUT = -1073807339
"""VI_ERROR_TMO (VPP-4.3); spelled as a number so that pyvisa is not imported for it."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What a failure is to the user: its kind, what was found, the answer so far, the remedy."""

    kind: type[InstrumentError]
    found: str
    answer: bytes | None
    remedy: str


def fault_of(error: Exception, *, was_open: bool) -> Fault:
    """Return what an exception from a link means; `was_open` tells failing from not opening."""
    match error:
        case Late(partial=b""):
            return Fault(NoAnswer, "no answer came in time", None, f"{CHECK_CABLE}.")
        case Late(partial=partial):
            return Fault(
                DamagedAnswer,
                "only a part of the answer came in time",
                partial,
                "If this repeats, check the dialect's terminator and the cable.",
            )
        case Stale():
            return Fault(
                DamagedAnswer,
                "an answer that nobody asked for was waiting",
                str(error).encode("latin-1"),
                "The connection was given up and the question not asked.",
            )
        case Closed():
            return Fault(
                Unreachable,
                "the instrument closed the connection",
                str(error).encode("latin-1") or None,
                f"{CHECK_CABLE}; some instruments accept one connection only.",
            )
    if was_open and getattr(error, "error_code", None) == VISA_TIME_OUT:
        return Fault(NoAnswer, "no answer came in time", None, f"{CHECK_CABLE}.")
    what = "the link failed" if was_open else "could not be opened"
    reason = f"{type(error).__name__}: {error}".rstrip(".")
    return Fault(Unreachable, f"{what} ({reason})", None, f"{CHECK_CABLE}.")
