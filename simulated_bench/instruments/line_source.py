"""A source of line voltage between socket and unit: voltage, frequency, switch, readback."""

from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import LineSourceTable
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.parameters import Boolean, Extreme, Number, Word

LOWEST_HZ, HIGHEST_HZ = 45.0, 65.0
LEVEL = "[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]"
FREQUENCY = "[SOURce:]FREQuency[:CW]"


class LineSource:
    """One source."""

    def __init__(self, table: LineSourceTable, around: Surroundings) -> None:
        self._highest_v = table.voltage.nominal
        self._nominal = (table.nominal.nominal, table.frequency.nominal)
        self._gain = drawn(table.gain, around.uniform())
        self._readback_gain = drawn(table.readback_gain, around.uniform())
        self._noise_v = table.readback_noise.nominal
        self._reading_s = table.reading.nominal
        self._around = around
        self._world = around.time.world
        self._volts, self._hertz = self._nominal
        self._on = table.switched_on
        self._apply()

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question = Kind.QUESTION
        return (
            Command(LEVEL, self._set_voltage, (Number("V"),)),
            Command(LEVEL + "?", self._voltage, (Extreme(),), question, "V"),
            Command(FREQUENCY, self._set_frequency, (Number("HZ"),)),
            Command(FREQUENCY + "?", self._frequency, (Extreme(),), question, "HZ"),
            Command("OUTPut[:STATe]", self._switch, (Boolean(),)),
            Command("OUTPut[:STATe]?", lambda: str(int(self._on)), kind=question),
            Command("MEASure[:SCALar]:VOLTage[:AC]?", self._measure_voltage, (), question, "V"),
            Command("MEASure[:SCALar]:FREQuency?", self._measure_frequency, (), question, "HZ"),
        )

    def reset(self) -> None:
        """Switch off; nominal voltage and frequency."""
        self._volts, self._hertz = self._nominal
        self._on = False
        self._apply()

    def _apply(self) -> None:
        self._world.feed_line(self._volts * (1.0 + self._gain), self._hertz, on=self._on)

    def _set_voltage(self, volts: float | Word) -> None:
        self._volts = within(volts, 0.0, self._highest_v, self._nominal[0], "line voltage")
        self._apply()

    def _voltage(self, word: Word | None = None) -> str:
        if word is None:
            return written(self._volts)
        return written(within(word, 0.0, self._highest_v, self._nominal[0], "line voltage"))

    def _set_frequency(self, hertz: float | Word) -> None:
        self._hertz = within(hertz, LOWEST_HZ, HIGHEST_HZ, self._nominal[1], "frequency")
        self._apply()

    def _frequency(self, word: Word | None = None) -> str:
        if word is None:
            return written(self._hertz)
        return written(within(word, LOWEST_HZ, HIGHEST_HZ, self._nominal[1], "frequency"))

    def _switch(self, on: bool) -> None:  # a parameter's value
        self._on = on
        self._apply()

    def _measure_voltage(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        seen = self._world.line()[0] * (1.0 + self._readback_gain)
        return written(max(0.0, seen + self._noise_v * self._around.normal()))

    def _measure_frequency(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        volts, hertz = self._world.line()
        return written(hertz if volts > 0.0 else 0.0)
