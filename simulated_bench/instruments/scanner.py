"""A scanner: relays that connect one of several points to the meter behind."""

from collections.abc import Mapping

from simulated_bench.faces import Place
from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import ScannerTable
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import ChannelList

FLOATING_V = 5e-3
"""What a meter sees at an input that nothing is connected to (common practice, no source)."""


class Scanner:
    """One scanner; closing a channel opens the one before, as two would tie points together."""

    def __init__(self, table: ScannerTable, around: Surroundings) -> None:
        self._points: Mapping[int, Place] = table.channels
        self._emf_v = {c: drawn(table.thermal_emf, around.uniform()) for c in self._points}
        self._relay_s = table.relay.nominal
        self._around = around
        self._closed: int | None = None
        self._scan: tuple[int, ...] = tuple(self._points)
        around.routed[around.name] = self.seen

    def seen(self, window_s: float) -> float:
        """Return what is at the common connection."""
        if self._closed is None:
            return FLOATING_V * self._around.normal()
        place, emf_v = self._points[self._closed], self._emf_v[self._closed]
        return self._around.time.world.voltage(place, window_s) + emf_v

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question, channels = Kind.QUESTION, (ChannelList(),)
        return (
            Command("ROUTe:CLOSe", self._close, channels),
            Command("ROUTe:CLOSe?", self._are_closed, channels, question),
            Command("ROUTe:CLOSe:STATe?", self._state, kind=question),
            Command("ROUTe:OPEN", self._open, channels),
            Command("ROUTe:OPEN:ALL", self.reset),
            Command("ROUTe:SCAN[:LIST]", self._set_scan, channels),
            Command("ROUTe:SCAN[:LIST]?", lambda: listed(self._scan), kind=question),
            Command("ROUTe:SCAN:NEXT?", self._next, kind=Kind.SETTING),
            Command("ROUTe:POINt?", self._names, channels, question),
        )

    def reset(self) -> None:
        """Open all."""
        self._move(None)

    def _close(self, channels: tuple[int, ...]) -> None:
        known(channels, self._points)
        if len(channels) > 1:
            raise ScpiError(-221, "two points would be tied together; close one at a time")
        self._move(channels[0])

    def _open(self, channels: tuple[int, ...]) -> None:
        known(channels, self._points)
        if self._closed in channels:
            self._move(None)

    def _move(self, channel: int | None) -> None:
        """Open what is closed, then close; nothing else goes on until the relays are at rest."""
        if channel != self._closed:
            self._closed = channel
            self._around.time.advance_to(self._around.time.world.now + self._relay_s)

    def _are_closed(self, channels: tuple[int, ...]) -> str:
        known(channels, self._points)
        return ",".join(str(int(channel == self._closed)) for channel in channels)

    def _state(self) -> str:
        return listed(() if self._closed is None else (self._closed,))

    def _set_scan(self, channels: tuple[int, ...]) -> None:
        known(channels, self._points)
        self._scan = channels
        self._move(None)

    def _next(self) -> str:
        """Close the next channel of the list, after the last the first; return its number."""
        at = self._scan.index(self._closed) + 1 if self._closed in self._scan else 0
        self._move(self._scan[at % len(self._scan)])
        return str(self._closed)

    def _names(self, channels: tuple[int, ...]) -> str:
        known(channels, self._points)
        return ",".join(f'"{self._points[channel]}"' for channel in channels)


def known(channels: tuple[int, ...], points: Mapping[int, object]) -> None:
    """Refuse channels that are not there."""
    for channel in channels:
        if channel not in points:
            raise ScpiError(-222, f"channel {channel}, there are {', '.join(map(str, points))}")


def listed(channels: tuple[int, ...]) -> str:
    """Return a channel list as it is written."""
    return f"(@{','.join(map(str, channels))})"
