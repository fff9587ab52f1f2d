"""A switch: fixed resistors across the load's terminals, each closed by a relay."""

from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import SwitchTable
from simulated_bench.instruments.numbers import written
from simulated_bench.instruments.scanner import known, listed
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.parameters import ChannelList

FIRST = 101


class Switch:
    """One row of relays; any number may be closed."""

    def __init__(self, table: SwitchTable, around: Surroundings) -> None:
        self._nominal_ohm = dict(enumerate(table.ohms, start=FIRST))
        self._true_ohm = {
            channel: ohm * (1.0 + drawn(table.tolerance, around.uniform()))
            for channel, ohm in self._nominal_ohm.items()
        }
        self._relay_s = table.relay.nominal
        self._time = around.time
        self._closed: frozenset[int] = frozenset()

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question, channels = Kind.QUESTION, (ChannelList(),)
        return (
            Command("ROUTe:CLOSe", self._close, channels),
            Command("ROUTe:CLOSe?", self._are_closed, channels, question),
            Command(
                "ROUTe:CLOSe:STATe?", lambda: listed(tuple(sorted(self._closed))), (), question
            ),
            Command("ROUTe:OPEN", self._open, channels),
            Command("ROUTe:OPEN:ALL", self.reset),
            Command("ROUTe:RESistance?", self._resistance, channels, question, "OHM"),
        )

    def reset(self) -> None:
        """Open all."""
        self._move(frozenset())

    def _close(self, channels: tuple[int, ...]) -> None:
        known(channels, self._nominal_ohm)
        self._move(self._closed | set(channels))

    def _open(self, channels: tuple[int, ...]) -> None:
        known(channels, self._nominal_ohm)
        self._move(self._closed - set(channels))

    def _move(self, closed: frozenset[int]) -> None:
        if closed != self._closed:
            self._closed = closed
            self._time.advance_to(self._time.world.now + self._relay_s)
            self._time.world.set_parallel(sum(1.0 / self._true_ohm[c] for c in sorted(closed)))
            self._time.stepped()

    def _are_closed(self, channels: tuple[int, ...]) -> str:
        known(channels, self._nominal_ohm)
        return ",".join(str(int(channel in self._closed)) for channel in channels)

    def _state(self) -> str:
        return listed(tuple(sorted(self._closed)))

    def _resistance(self, channels: tuple[int, ...]) -> str:
        """Return what is printed on the resistors."""
        known(channels, self._nominal_ohm)
        return ",".join(written(self._nominal_ohm[channel]) for channel in channels)
