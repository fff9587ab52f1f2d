"""An oscilloscope: captures the waveform at named points, freely or at the next load step.

All inputs are captured at once. ``DC`` is a record's mean, ``AC`` its RMS without the mean.
"""

from collections.abc import Callable
from functools import partial

import numpy as np

from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.more_tables import OscilloscopeTable
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.record import (
    FIGURES,
    Array,
    Record,
    digitise,
    low_passed,
    noise_part,
)
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Boolean, Choice, Integer, Number, Word

RANGES_V = (1e-3, 60.0)
"""Half of the screen, the least and the greatest."""

LONGEST_S, SHORTEST_S = 1.0, 1e-6
"""Of a record; the waveform is a function about one moment (`simulated_bench.waveform`)."""

FEWEST, MOST = 10, 20_000
DEFAULT_POINTS, DEFAULT_TIME_S, DEFAULT_RANGE_V = 2_000, 0.04, 40.0
LOWEST_CORNER_HZ = 100.0
DEFAULT_CORNER_HZ = 20e3


class Settings:
    """How one input stands."""

    def __init__(self) -> None:
        self.range_v = DEFAULT_RANGE_V
        self.middle_v = 0.0
        self.coupling = "DC"
        self.limited = False
        self.corner_hz = DEFAULT_CORNER_HZ


class Oscilloscope:
    """One oscilloscope."""

    def __init__(self, table: OscilloscopeTable, around: Surroundings) -> None:
        self._points = table.points
        self._gains = [1.0 + drawn(table.gain, around.uniform()) for _ in self._points]
        self._offsets = [drawn(table.offset, around.uniform()) for _ in self._points]
        self._noise = table.noise.nominal
        self._bits, self._bandwidth_hz = table.bits, table.bandwidth.nominal
        self._around = around
        self._world = around.time.world
        around.time.on_step.append(self._trigger)
        self.reset()

    def reset(self) -> None:
        """Return to 40 ms, 2000 points, ± 40 V, DC coupling, no bandwidth limit, free running."""
        self._inputs = [Settings() for _ in self._points]
        self._time_s, self._offset_s, self._count = DEFAULT_TIME_S, 0.0, DEFAULT_POINTS
        self._codes = self._on_step = self._armed = False
        self._records: list[Record] = []

    def commands(self) -> tuple[Command, ...]:
        """Return the table; the number after INPut, SENSe or TRACe is the input's."""
        return (*self._input_commands(), *self._sweep_commands(), *self._result_commands())

    def _input_commands(self) -> list[Command]:
        range_, low_pass = "SENSe#:VOLTage:RANGe", "INPut#:FILTer[:LPASs]"
        couplings = Choice({"AC": "AC", "DC": "DC"})
        return [
            _asks("INPut#:POINt?", lambda n: f'"{self._points[self._at(n)]}"'),
            Command("INPut#:COUPling", self._couple, (couplings,)),
            _asks("INPut#:COUPling?", lambda n: self._input(n).coupling),
            Command(f"{low_pass}[:STATe]", self._limit, (Boolean(),)),
            _asks(f"{low_pass}[:STATe]?", lambda n: str(int(self._input(n).limited))),
            Command(f"{low_pass}:FREQuency", self._set_corner, (Number("HZ"),)),
            _asks(f"{low_pass}:FREQuency?", lambda n: written(self._input(n).corner_hz), "HZ"),
            Command(f"{range_}[:UPPer]", self._set_range, (Number("V"),)),
            _asks(f"{range_}[:UPPer]?", lambda n: written(self._input(n).range_v), "V"),
            Command(f"{range_}:OFFSet", self._set_middle, (Number("V"),)),
            _asks(f"{range_}:OFFSet?", lambda n: written(self._input(n).middle_v), "V"),
        ]

    def _sweep_commands(self) -> list[Command]:
        sweep, source = "[SENSe:]SWEep", "TRIGger[:SEQuence]:SOURce"
        sources = Choice({"IMMediate": "IMM", "INTernal": "INT"})
        return [
            Command(f"{sweep}:TIME", self._set_time, (Number("S"),)),
            _asks(f"{sweep}:TIME?", lambda: written(self._time_s), "S"),
            Command(f"{sweep}:OFFSet:TIME", self._set_offset, (Number("S"),)),
            _asks(f"{sweep}:OFFSet:TIME?", lambda: written(self._offset_s), "S"),
            Command(f"{sweep}:POINts", self._set_points, (Integer(FEWEST, MOST),)),
            _asks(f"{sweep}:POINts?", lambda: str(self._count)),
            Command(source, self._set_source, (sources,)),
            _asks(f"{source}?", lambda: "INT" if self._on_step else "IMM"),
            Command("INITiate[:IMMediate]", self._initiate),
        ]

    def _result_commands(self) -> list[Command]:
        """Return records and figures: MEASure# captures anew, FETCh# takes what is there."""
        formats = Choice({"ASCii": "ASC", "INTeger": "INT"})
        table = [
            Command("FORMat[:DATA]", self._set_format, (formats,)),
            _asks("FORMat[:DATA]?", lambda: "INT" if self._codes else "ASC"),
            _asks("TRACe#[:DATA]?", self._data),
            _asks("TRACe#:PREamble?", self._preamble),
        ]
        for figure in FIGURES:
            measure, fetch = partial(self._measure, figure), partial(self._figure, figure)
            table.append(_asks(f"MEASure#[:VOLTage]:{figure}?", measure, "V"))
            table.append(_asks(f"FETCh#[:VOLTage]:{figure}?", fetch, "V"))
        return table

    def _at(self, number: int) -> int:
        if not 1 <= number <= len(self._points):
            raise ScpiError(-114, f"input {number}, there are 1 to {len(self._points)}")
        return number - 1

    def _input(self, number: int) -> Settings:
        return self._inputs[self._at(number)]

    def _couple(self, number: int, coupling: str) -> None:
        self._input(number).coupling = coupling

    def _limit(self, number: int, on: bool) -> None:  # a parameter's value
        self._input(number).limited = on

    def _set_corner(self, number: int, hertz: float | Word) -> None:
        low, high = LOWEST_CORNER_HZ, self._bandwidth_hz
        self._input(number).corner_hz = within(hertz, low, high, DEFAULT_CORNER_HZ, "corner")

    def _set_range(self, number: int, volts: float | Word) -> None:
        self._input(number).range_v = within(volts, *RANGES_V, DEFAULT_RANGE_V, "range")

    def _set_middle(self, number: int, volts: float | Word) -> None:
        self._input(number).middle_v = within(volts, -RANGES_V[1], RANGES_V[1], 0.0, "offset")

    def _set_time(self, seconds: float | Word) -> None:
        self._time_s = within(seconds, SHORTEST_S, LONGEST_S, DEFAULT_TIME_S, "sweep time")

    def _set_offset(self, seconds: float | Word) -> None:
        self._offset_s = within(seconds, -LONGEST_S, LONGEST_S, 0.0, "sweep offset")

    def _set_points(self, count: int) -> None:
        self._count = count

    def _set_source(self, source: str) -> None:
        self._on_step = source == "INT"

    def _set_format(self, said: str) -> None:
        self._codes = said == "INT"

    def _initiate(self) -> None:
        """Capture now, or be armed for the next load step."""
        self._records, self._armed = [], self._on_step
        if not self._armed:
            self._capture()

    def _trigger(self) -> None:
        if self._armed:
            self._armed = False
            self._capture()

    def _capture(self) -> None:
        period_s = self._time_s / self._count
        samples = np.arange(self._count, dtype=np.float64)
        times: Array = self._world.now + self._offset_s + period_s * samples
        self._records = [
            self._captured(index, times, period_s) for index in range(len(self._points))
        ]
        self._around.occupancy.spend(max(0.0, self._offset_s + self._time_s))

    def _captured(self, index: int, times: Array, period_s: float) -> Record:
        place, how = self._points[index], self._inputs[index]
        volts = self._world.waveform(place, times)
        bandwidth_hz = self._bandwidth_hz
        if how.limited:
            bandwidth_hz = min(how.corner_hz, bandwidth_hz)
        volts = low_passed(volts, period_s, bandwidth_hz)
        own_v = self._noise * how.range_v
        noise_v = float(np.hypot(own_v, self._world.noise_rms(place))) * noise_part(bandwidth_hz)
        if how.coupling == "AC":
            volts = volts - np.mean(volts)
        seen = volts * self._gains[index] + self._offsets[index] * how.range_v
        return digitise(
            seen, noise_v, self._around.generator, how.range_v, how.middle_v, self._bits,
            period_s, self._offset_s,
        )  # fmt: skip

    def _record(self, number: int) -> Record:
        index = self._at(number)
        if not self._records:
            waits = "waiting for a load step" if self._armed else "nothing was captured"
            raise ScpiError(-230, waits)
        return self._records[index]

    def _data(self, number: int) -> str:
        record = self._record(number)
        if self._codes:
            return ",".join(map(str, record.codes.tolist()))
        return ",".join(map(written, record.volts.tolist()))

    def _preamble(self, number: int) -> str:
        """Return count, period (s), start (s), volts of one code, volts of code 0, clipped."""
        r = self._record(number)
        numbers = (r.period_s, r.start_s, r.step_v, r.middle_v)
        return f"{r.codes.size},{','.join(map(written, numbers))},{int(r.clipped)}"

    def _measure(self, figure: str, number: int) -> str:
        self._at(number)
        self._armed = False
        self._capture()
        return self._figure(figure, number)

    def _figure(self, figure: str, number: int) -> str:
        return written(self._record(number).figure(figure))


def _asks(pattern: str, handler: Callable[..., str], unit: str = "") -> Command:
    return Command(pattern, handler, (), Kind.QUESTION, unit)
