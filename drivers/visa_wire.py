"""Any other link: HiSLIP, VXI-11, USBTMC, GPIB, or another VISA library; it does the waiting."""

from contextlib import suppress
from typing import Any

from pyvisa.constants import ResourceAttribute, StatusCode

CHUNK = 65536
DRAIN_S = 0.01
MOST_LEFT = 100


class VisaWire:
    """One session of a VISA library; what it raises is whatever the library does.

    An answer to an earlier owner's question may still wait at the other end: it is cleared away
    (IEEE 488.1, device clear), or read where the library can't clear.
    """

    def __init__(self, library: Any, handle: Any) -> None:
        self._library = library
        self._handle = handle
        self._timeout_s: float | None = None
        try:
            cleared = library.clear(handle) == StatusCode.success
        except Exception:  # noqa: BLE001  # not every library and link can; that is no failure
            cleared = False
        if not cleared:
            with suppress(Exception):  # nothing is left: that is what a time-out says here
                for _ in range(MOST_LEFT):
                    self.read(DRAIN_S)

    def write(self, message: bytes) -> None:
        """Send a message."""
        self._library.write(self._handle, message)

    def read(self, timeout_s: float) -> bytes:
        """Return one answer, however long it is."""
        if timeout_s != self._timeout_s:
            milliseconds = max(1, round(timeout_s * 1000))
            self._library.set_attribute(self._handle, ResourceAttribute.timeout_value, milliseconds)
            self._timeout_s = timeout_s
        data, status = self._library.read(self._handle, CHUNK)
        parts = bytearray(data)
        while status == StatusCode.success_max_count_read:
            data, status = self._library.read(self._handle, CHUNK)
            parts.extend(data)
        return bytes(parts)
