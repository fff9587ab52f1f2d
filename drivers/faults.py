"""The one place where whatever the libraries raise becomes one of our errors.

pyvisa and pyvisa-py raise VisaIOError, kinds of OSError, bare Exception, RuntimeError, ValueError,
TypeError and, over a serial port, SerialException.
"""

from dataclasses import dataclass
from errno import EACCES, EBUSY

from drivers.broken import Closed, Late, Stale
from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable
from drivers.python_wire import UnknownDriver

CHECK_CABLE = "Look at its power, its cable and its address in the bench document"
LONGEST_REASON = 300
VISA_TIME_OUT = -1073807339
VISA_BAD_ADDRESS = -1073807342
"""VI_ERROR_TMO and VI_ERROR_INV_RSRC_NAME (VPP-4.3), without importing pyvisa for them."""


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
    late = getattr(error, "error_code", None) == VISA_TIME_OUT or isinstance(error, TimeoutError)
    if was_open and late:
        return Fault(NoAnswer, "no answer came in time", None, f"{CHECK_CABLE}.")
    reason = " ".join(f"{type(error).__name__}: {error}".split()).rstrip(".")
    if len(reason) > LONGEST_REASON:  # some libraries put a whole traceback there
        reason = f"{reason[:LONGEST_REASON]} …"
    what = "the link failed" if was_open else "could not be opened"
    remedy = f"{CHECK_CABLE}."
    if getattr(error, "error_code", None) == VISA_BAD_ADDRESS:
        what = "its address is not a VISA resource name"
        remedy = (
            "Write it like TCPIP0::192.0.2.7::5025::SOCKET, with a host name or an IPv4 address."
        )
    elif isinstance(error, UnknownDriver):
        remedy = "Install the package that gives it, or correct the address."
    elif "install" in reason or isinstance(error, ImportError):
        remedy = (
            "Install what is missing (pip install 'steadyrail[serial]', [usb] or [gpib]), or reach "
            "the instrument by another interface."
        )
    elif getattr(error, "errno", None) == EACCES or "Permission denied" in reason:
        remedy = (
            "You may not use this port: on Linux put your user into the group that owns it "
            "(ls -l shows it, often dialout for serial ports) and log in again; USB instruments "
            "need a udev rule."
        )
    elif "Address already in use" in reason or getattr(error, "errno", None) == EBUSY:
        remedy = "Another program has the port: close it."
    return Fault(Unreachable, f"{what} ({reason})", None, remedy)
