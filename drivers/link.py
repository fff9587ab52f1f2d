"""One open VISA link: raw bytes out, one terminated answer in, and nothing left over unseen.

Only this module and the wires (`socket_wire`, `serial_wire`, `visa_wire`, `vxi11_wire`) touch
pyvisa. What they raise is whatever comes; `drivers.session` translates.
"""

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import cache
from select import poll
from typing import TYPE_CHECKING, Any

from drivers.python_wire import PREFIX, Wire, open_python_wire

if TYPE_CHECKING:  # importing pyvisa takes longer than a whole `--help`
    from pyvisa import ResourceManager

    from drivers.serial_wire import SerialWire
    from drivers.socket_wire import SocketWire
    from drivers.visa_wire import VisaWire

    AnyWire = SocketWire | SerialWire | VisaWire | Wire

SERIAL_ATTRIBUTES = {
    "baud_rate": "asrl_baud",
    "data_bits": "asrl_data_bits",
    "parity": "asrl_parity",
    "stop_bits": "asrl_stop_bits",
    "flow_control": "asrl_flow_control",
}
"""Serial parameters of a dialect or bench, and VISA's names for them (VPP-4.3)."""


@cache
def resource_manager(backend: str) -> "ResourceManager":
    """Return the one resource manager of this process; pyvisa closes it when the process ends.

    Closing a second manager would close every session of the first, so there is never one.
    """
    from pyvisa import ResourceManager  # noqa: PLC0415

    return ResourceManager(backend)


class Link:
    """An open link to one address; for one owner, and never used again after an error.

    Parameters
    ----------
    address
        VISA resource name, or `PYTHON::NAME::REST` (`drivers.python_wire`).
    terminator
        Last bytes of every answer.
    timeout_s
        Greatest time for opening and for a write.
    pause_s
        Least time between two messages, for instruments that lose what comes too soon.
    serial
        Parameters of a serial port, by the keys of `SERIAL_ATTRIBUTES`.
    """

    def __init__(
        self,
        address: str,
        terminator: bytes,
        timeout_s: float,
        backend: str,
        pause_s: float = 0.0,
        serial: Mapping[str, object] | None = None,
    ) -> None:
        self._pause_s = pause_s
        self._not_before = 0.0
        self._close: Callable[[], None] = lambda: None
        if address.startswith(PREFIX):
            self._wire: AnyWire = open_python_wire(address, timeout_s)
            self._close = self._wire.close
            return
        manager = resource_manager(backend)
        self._library: Any = manager.visalib  # each back end has its own class
        # Zero would mean ten seconds, 100 ms or nothing, depending on the kind of link.
        self._handle, _ = manager.open_bare_resource(
            address, open_timeout=max(1, round(timeout_s * 1000))
        )
        self._close = self._close_session
        try:
            self._wire = self._wired(terminator, timeout_s, serial or {})
        except BaseException:
            self.close()
            raise

    def _wired(
        self, terminator: bytes, timeout_s: float, serial: Mapping[str, object]
    ) -> "AnyWire":
        from pyvisa import constants  # noqa: PLC0415

        from drivers.serial_wire import SerialWire, is_serial  # noqa: PLC0415
        from drivers.socket_wire import SocketWire, is_raw_socket  # noqa: PLC0415
        from drivers.visa_wire import VisaWire  # noqa: PLC0415
        from drivers.vxi11_wire import Vxi11Wire, is_vxi11  # noqa: PLC0415

        attribute = constants.ResourceAttribute
        self._set(attribute.termchar, terminator[-1])
        self._set(attribute.termchar_enabled, True)
        session: Any = getattr(self._library, "sessions", {}).get(self._handle)
        for key, value in serial.items():
            self._set(getattr(attribute, SERIAL_ATTRIBUTES[key]), _visa_value(key, value))
        if is_raw_socket(session):
            # All waiting is the wire's.
            self._set(attribute.timeout_value, 0)
            self._set(attribute.suppress_end_enabled, 0)
            return SocketWire(session, timeout_s)
        if is_serial(session):
            return SerialWire(session, terminator, timeout_s)
        if is_vxi11(session):
            return Vxi11Wire(self._library, self._handle, session)
        return VisaWire(self._library, self._handle)

    def _set(self, attribute: Any, value: object) -> None:
        self._library.set_attribute(self._handle, attribute, value)

    def write(self, message: bytes) -> None:
        """Send a terminated message, after a look at what the link's state is.

        Raises
        ------
        Stale, Closed, Late
            When unasked bytes wait, the peer has closed, or it doesn't take the message in time.
        """
        if self._pause_s:
            poll().poll(max(0.0, self._not_before - time.monotonic()) * 1000)
            self._not_before = time.monotonic() + self._pause_s
        self._wire.write(message)

    def read(self, timeout_s: float) -> bytes:
        """Return one answer with its terminating character.

        Raises
        ------
        Late, Closed
            When no whole answer came in time, or the peer closed before its end.
        """
        return self._wire.read(timeout_s)

    def close(self) -> None:
        """Close; never raises, and leaves nothing behind in the library's tables."""
        with suppress(Exception):  # closing a dead link may fail in any way; it is dead
            self._close()

    def _close_session(self) -> None:
        with suppress(Exception):  # as above; the tables are emptied all the same
            self._library.close(self._handle)
        for table in ("sessions", "_last_status_in_session", "_ignore_warning_in_session"):
            entries = getattr(self._library, table, None)
            if isinstance(entries, dict):
                entries.pop(self._handle, None)


def _visa_value(key: str, value: object) -> object:
    """Return VISA's constant for a serial parameter."""
    from pyvisa import constants  # noqa: PLC0415

    if key == "parity":
        return constants.Parity[str(value)]
    if key == "stop_bits":
        return {1: constants.StopBits.one, 1.5: constants.StopBits.one_and_a_half}.get(
            float(str(value)), constants.StopBits.two
        )
    if key == "flow_control":
        names = {"none": "none", "software": "xon_xoff", "hardware": "rts_cts"}
        return constants.ControlFlow[names[str(value)]]
    return value
