"""The unit itself when it can be set from afar: levels, output switch, readback, protection."""

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import SupplyTable
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Boolean, Extreme, Number, Word

LEVEL = "[:LEVel][:IMMediate][:AMPLitude]"
PROTECTION = "[SOURce:]VOLTage:PROTection"
MARGIN = 1.1
"""The protection's greatest setting over the greatest voltage (common practice, no source)."""

CONSTANT_VOLTAGE, CONSTANT_CURRENT = 256, 1024
"""Bits of the operation status, left to the instrument by SCPI-1999, volume 1, 9.3."""

OVER_VOLTAGE = 1
"""Bit of the questionable status."""


class Supply:
    """One remote-controlled unit."""

    def __init__(self, table: SupplyTable, around: Surroundings) -> None:
        self._world = around.time.world
        if not self._world.programmable:
            raise ScenarioError(
                (
                    f"instruments.{around.name}: found a unit with knobs and switches only, "
                    "expected a table [remote] in the scenario; or leave this instrument out",
                )
            )
        self._bounds = (table.voltage.nominal, table.current.nominal)
        self._gains = tuple(drawn(table.readback_gain, around.uniform()) for _ in range(2))
        self._offset_v = drawn(table.readback_offset, around.uniform())
        self._offset_a = drawn(table.readback_current_offset, around.uniform())
        self._noise = (table.readback_noise.nominal, table.readback_current_noise.nominal)
        self._reading_s = table.reading.nominal
        self._around = around
        self._status = around.status
        self._tripped = self._on = False
        self._volts, self._amperes = 0.0, self._bounds[1]
        self._protect_v = MARGIN * self._bounds[0]
        around.time.watchers.append(self.watch)

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question, words = Kind.QUESTION, (Extreme(),)
        voltage, current = f"[SOURce:]VOLTage{LEVEL}", f"[SOURce:]CURRent{LEVEL}"
        return (
            Command(voltage, self._set_voltage, (Number("V"),)),
            Command(voltage + "?", self._voltage, words, question, "V"),
            Command(current, self._set_current, (Number("A"),)),
            Command(current + "?", self._current, words, question, "A"),
            Command(f"{PROTECTION}[:LEVel]", self._set_protection, (Number("V"),)),
            Command(f"{PROTECTION}[:LEVel]?", self._protection, words, question, "V"),
            Command(f"{PROTECTION}:TRIPped?", lambda: str(int(self._tripped)), (), question),
            Command(f"{PROTECTION}:CLEar", self._clear),
            Command("OUTPut[:STATe]", self._switch, (Boolean(),)),
            Command("OUTPut[:STATe]?", lambda: str(int(self._on)), (), question),
            Command("OUTPut:MODE?", self._mode, (), question),
            Command("MEASure[:SCALar]:VOLTage[:DC]?", self._measure_voltage, (), question, "V"),
            Command("MEASure[:SCALar]:CURRent[:DC]?", self._measure_current, (), question, "A"),
        )

    def reset(self) -> None:
        """Switch the output off; 0 V, full current. A trip stays."""
        self._on = False
        self._volts, self._amperes = 0.0, self._bounds[1]
        self._protect_v = MARGIN * self._bounds[0]
        self._apply()

    def watch(self) -> None:
        """Trip on over-voltage; tell by the status which loop has the say."""
        if self._on and self._world.voltage("terminals") > self._protect_v:
            self._tripped, self._on = True, False
            self._apply()
            self._status.questionable.set(OVER_VOLTAGE)
            self._status.put(ScpiError(-300, "over-voltage protection tripped"))
            self._world.log("trip", "the supply's over-voltage protection")
        limiting = CONSTANT_CURRENT if self._world.limiting() else CONSTANT_VOLTAGE
        self._status.operation.set(limiting if self._on else 0)

    def _apply(self) -> None:
        self._world.program(self._volts, self._amperes, output_on=self._on)

    def _moved(self) -> None:
        self._apply()
        self.watch()

    def _set_voltage(self, volts: float | Word) -> None:
        self._volts = within(volts, 0.0, self._bounds[0], 0.0, "voltage")
        self._moved()

    def _voltage(self, word: Word | None = None) -> str:
        top = self._bounds[0]
        return written(self._volts if word is None else within(word, 0.0, top, 0.0, "voltage"))

    def _set_current(self, amperes: float | Word) -> None:
        self._amperes = within(amperes, 0.0, self._bounds[1], self._bounds[1], "current")
        self._moved()

    def _current(self, word: Word | None = None) -> str:
        top = self._bounds[1]
        return written(self._amperes if word is None else within(word, 0.0, top, top, "current"))

    def _set_protection(self, volts: float | Word) -> None:
        top = MARGIN * self._bounds[0]
        self._protect_v = within(volts, 0.0, top, top, "protection")
        self.watch()

    def _protection(self, word: Word | None = None) -> str:
        top = MARGIN * self._bounds[0]
        return written(self._protect_v if word is None else within(word, 0.0, top, top, "level"))

    def _clear(self) -> None:
        self._tripped = False
        self._status.questionable.set(0)

    def _switch(self, on: bool) -> None:  # a parameter's value
        if on and self._tripped:
            raise ScpiError(-221, "the protection has tripped; clear it first")
        self._on = on
        self._moved()

    def _mode(self) -> str:
        if not self._on:
            return "OFF"
        return "CC" if self._world.limiting() else "CV"

    def _measure_voltage(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        true_v = self._world.voltage("terminals", self._reading_s)
        noise = self._noise[0] * self._around.normal()
        return written(true_v * (1.0 + self._gains[0]) + self._offset_v + noise)

    def _measure_current(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        noise = self._noise[1] * self._around.normal()
        true_a = self._world.current("wiring", self._reading_s)
        return written(true_a * (1.0 + self._gains[1]) + self._offset_a + noise)
