"""A voltmeter with many inputs: several channels in one query, all converted together.

With the trait "one by one" a relay goes round instead, and the times add up. Several samples for
one start are answered round by round.
"""

from simulated_bench.instruments.meter_error import draw_error
from simulated_bench.instruments.meter_scale import VOLTS
from simulated_bench.instruments.more_tables import ChannelMeterTable
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.scanner import known, listed
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.instruments.voltmeter import (
    DEFAULT_APERTURE_S,
    LONGEST_S,
    MOST_SAMPLES,
    SHORTEST_S,
)
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import ChannelList, Extreme, Integer, Number, Value, Word

SHUNT_RANGE_V = 0.1
"""The default range of an input over a shunt."""

Channels = tuple[int, ...]


class RangeOrChannels:
    """A range, which may be left out before the channel list."""

    optional = False

    def read(self, text: str) -> Value:
        """Return volts, a word, or channels."""
        if text[0] == "(":
            return ChannelList().read(text)
        return Number("V").read(text)


class ChannelMeter:
    """One meter with an error of its own on each input."""

    def __init__(self, table: ChannelMeterTable, around: Surroundings) -> None:
        self._points = table.channels
        self._errors = {
            channel: draw_error(table, around.generator, VOLTS.low_up_to)
            for channel in self._points
        }
        self._one_by_one = "one by one" in table.traits
        self._overhead_s, self._relay_s = table.overhead.nominal, table.relay.nominal
        self._around = around
        self._world = around.time.world
        self.reset()

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question, sense = Kind.QUESTION, "[SENSe:]VOLTage[:DC]"
        with_range = (RangeOrChannels(), ChannelList(optional=True))
        channels, some = (ChannelList(),), (ChannelList(optional=True),)
        return (
            Command("MEASure[:VOLTage][:DC]?", self._measure, with_range, question, "V"),
            Command("CONFigure[:VOLTage][:DC]", self._configure, with_range),
            Command(f"{sense}:RANGe[:UPPer]", self._set_range, (Number("V"), *some)),
            Command(f"{sense}:RANGe[:UPPer]?", self._range, some, question, "V"),
            Command(f"{sense}:APERture", self._set_aperture, (Number("S"),)),
            Command(f"{sense}:APERture?", self._aperture, (Extreme(),), question, "S"),
            Command("ROUTe:SCAN[:LIST]", self._set_scan, channels),
            Command("ROUTe:SCAN[:LIST]?", lambda: listed(self._scan), kind=question),
            Command("ROUTe:POINt?", self._names, channels, question),
            Command("SAMPle:COUNt", self._set_count, (Integer(1, MOST_SAMPLES),)),
            Command("SAMPle:COUNt?", lambda: str(self._count), kind=question),
            Command("INITiate[:IMMediate]", self._initiate, kind=question),
            Command("FETCh?", self._fetch, (), question, "V"),
            Command("READ?", self._read, (), question, "V"),
        )

    def reset(self) -> None:
        """Return to default ranges, 100 ms and all channels."""
        self._ranges = dict.fromkeys(self._points, VOLTS.default)
        for channel, place in self._points.items():
            if place == "shunt":
                self._ranges[channel] = SHUNT_RANGE_V
        self._aperture_s = DEFAULT_APERTURE_S
        self._scan: Channels = tuple(self._points)
        self._taken: list[float] = []
        self._count = 1

    def _measure(self, first: float | Word | Channels, channels: Channels | None = None) -> str:
        self._configure(first, channels)
        return self._read()

    def _configure(self, first: float | Word | Channels, channels: Channels | None = None) -> None:
        """Choose channels, and their range where one is given."""
        if isinstance(first, tuple):
            if channels is not None:
                raise ScpiError(-108, listed(channels))
            self._set_scan(first)
            return
        if channels is None:
            raise ScpiError(-109, "the channel list")
        self._set_scan(channels)
        self._set_range(first, channels)

    def _set_scan(self, channels: Channels) -> None:
        known(channels, self._points)
        self._scan, self._taken = channels, []

    def _set_range(self, volts: float | Word, channels: Channels | None = None) -> None:
        chosen = channels or tuple(self._points)
        known(chosen, self._points)
        least = abs(volts) if isinstance(volts, float) else volts
        wanted = within(least, 0.0, VOLTS.greatest, VOLTS.default, "range")
        self._taken = []
        self._ranges.update(dict.fromkeys(chosen, VOLTS.smallest(wanted)))

    def _range(self, channels: Channels | None = None) -> str:
        chosen = channels or self._scan
        known(chosen, self._points)
        return ",".join(written(self._ranges[channel]) for channel in chosen)

    def _set_aperture(self, seconds: float | Word) -> None:
        self._taken = []
        self._aperture_s = within(seconds, SHORTEST_S, LONGEST_S, DEFAULT_APERTURE_S, "aperture")

    def _aperture(self, word: Word | None = None) -> str:
        if word is None:
            return written(self._aperture_s)
        return written(within(word, SHORTEST_S, LONGEST_S, DEFAULT_APERTURE_S, "aperture"))

    def _set_count(self, count: int) -> None:
        self._taken, self._count = [], count

    def _names(self, channels: Channels) -> str:
        known(channels, self._points)
        return ",".join(f'"{self._points[channel]}"' for channel in channels)

    def _initiate(self) -> None:
        """Convert all channels of the list now, and again as bench time passes."""
        taken = self._taken = [self._sample(channel) for channel in self._scan]

        def again() -> None:
            taken.extend(self._sample(channel) for channel in self._scan)

        round_s, begun = self._aperture_s + self._overhead_s, self._world.now
        if self._one_by_one:
            round_s = len(self._scan) * (round_s + self._relay_s)
        for number in range(1, self._count):
            self._around.time.at(begun + number * round_s, again)
        self._around.occupancy.spend(self._count * round_s)

    def _fetch(self) -> str:
        if not self._taken:
            raise ScpiError(-230, "nothing was measured since the last setting")
        return ",".join(map(written, self._taken))

    def _read(self) -> str:
        self._initiate()
        if self._count > 1:
            self._around.occupancy.before_question()  # all of them have to be there
        return self._fetch()

    def _sample(self, channel: int) -> float:
        world, error, range_v = self._world, self._errors[channel], self._ranges[channel]
        true_v = world.voltage(self._points[channel], self._aperture_s)
        value = error.seen(true_v, range_v, world.temperature("ambient"), world.now)
        value += error.noise_v(range_v, self._aperture_s) * self._around.normal()
        return VOLTS.shown(value, range_v)
