"""Serves instruments: raw sockets for all, serial lines, HiSLIP and VXI-11 where asked for."""

from collections.abc import Iterable, Mapping

from simulated_bench.hislip.listener import HislipListener
from simulated_bench.instruments.table_top import Placed
from simulated_bench.listener import Listener
from simulated_bench.loop import Loop
from simulated_bench.seats import Seats, Spare
from simulated_bench.serial_port import SerialPort
from simulated_bench.vxi11.listener import Vxi11Listener


class Server(Loop):
    """All roads to one bench.

    Parameters
    ----------
    port
        Of the first instrument, the others follow; 0 takes free ones.
    serial
        Instruments that have a serial port as well.
    hislip
        Port of the first instrument's HiSLIP server, the others follow; 0 takes free ones, None
        serves none.
    vxi11
        The same for VXI-11.

    Raises
    ------
    OSError
        When a port can't be had.
    """

    def __init__(
        self,
        instruments: Mapping[str, Placed],
        host: str,
        port: int,
        serial: Iterable[str] = (),
        hislip: int | None = None,
        vxi11: int | None = None,
    ) -> None:
        super().__init__()
        self._spare = Spare()
        self._sockets: dict[str, Listener] = {}
        self._hislip: dict[str, Listener] = {}
        self._vxi11: dict[str, Listener] = {}
        self._serial: dict[str, SerialPort] = {}
        roads: list[tuple[dict[str, Listener], type[Listener], int | None]] = [
            (self._sockets, Listener, port),
            (self._hislip, HislipListener, hislip),
            (self._vxi11, Vxi11Listener, vxi11),
        ]
        seats = {name: Seats(placed.clients) for name, placed in instruments.items()}
        try:
            for listeners, kind, first in roads:
                if first is None:
                    continue
                for offset, (name, placed) in enumerate(instruments.items()):
                    address = (host, first + offset if first else 0)
                    listeners[name] = kind(address, placed, seats[name], self, self._spare)
                    listeners[name].follow_link()
            for name in serial:
                self._serial[name] = SerialPort(instruments[name], self)
        except OSError:
            self.close()
            raise

    def addresses(self) -> dict[str, str]:
        """Return each instrument's VISA resource name over a raw socket."""
        return {
            name: "TCPIP0::{}::{}::SOCKET".format(*listener.at)
            for name, listener in self._sockets.items()
        }

    def at(self) -> tuple[str, int]:
        """Return where the first instrument's socket listens."""
        return next(iter(self._sockets.values())).at

    def hislip_addresses(self) -> dict[str, str]:
        """Return each instrument's VISA resource name over HiSLIP."""
        return {
            name: "TCPIP0::{}::hislip0,{}::INSTR".format(*listener.at)
            for name, listener in self._hislip.items()
        }

    def vxi11_addresses(self) -> dict[str, str]:
        """Return each instrument's VISA resource name over VXI-11."""
        return {
            name: "TCPIP0::{},{}::inst0::INSTR".format(*listener.at)
            for name, listener in self._vxi11.items()
        }

    def serial_addresses(self) -> dict[str, str]:
        """Return the VISA resource name of each instrument with a serial port."""
        return {name: line.address for name, line in self._serial.items()}

    def close(self) -> None:
        """Close every socket and serial port."""
        for line in self._serial.values():
            line.plugged = False
        for listeners in (self._sockets, self._hislip, self._vxi11):
            for listener in listeners.values():
                listener.close()
        super().close()
        for line in self._serial.values():
            line.end.unplug()
        self._spare.close()
