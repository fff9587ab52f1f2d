"""A DC voltmeter or ammeter: ranges, integration time, overload, and its true errors."""

from typing import Final

from simulated_bench.instruments.meter_error import draw_error
from simulated_bench.instruments.meter_scale import VOLTS, Scale
from simulated_bench.instruments.more_tables import AmmeterTable
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.surroundings import Source, Surroundings
from simulated_bench.instruments.tables import VoltmeterTable
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Extreme, Integer, Number, Text, Word

LINE_HZ: Final = 50.0
CYCLES: Final = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
"""Line cycles that a meter with that trait can integrate over; others go to the next longer one."""

MOST_SAMPLES: Final = 10_000
"""Of one start; meters of this kind remember some thousands (common practice, no source)."""

SHORTEST_S, LONGEST_S, DEFAULT_APERTURE_S = 1e-3, 10.0, 0.1


class Voltmeter:
    """One voltmeter, or an ammeter by its scale; what is called volts here has the scale's unit.

    Parameters
    ----------
    source
        What is at its input.
    """

    def __init__(
        self,
        source: Source,
        table: VoltmeterTable | AmmeterTable,
        around: Surroundings,
        scale: Scale = VOLTS,
    ) -> None:
        self._source = source
        self._scale = scale
        self._sense = f"[SENSe:]{scale.header}[:DC]"
        self._error = draw_error(table, around.generator, scale.low_up_to)
        self._generator = around.generator
        self._world = around.time.world
        self._occupancy = around.occupancy
        self._overhead_s = table.overhead.nominal
        self._traits = frozenset[str](table.traits)
        self._conversion = -1
        self._latest: float | None = None
        self._taken: list[float] = []
        self._count = 1
        self._time = around.time
        self._range_v = scale.default
        self._aperture_s = DEFAULT_APERTURE_S

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        scale, question = self._scale, Kind.QUESTION
        volts = (Number(scale.unit, optional=True),)
        range_ = f"{self._sense}:RANGe[:UPPer]"
        return (
            Command(f"CONFigure[:{scale.header}][:DC]", self._configure, volts),
            Command("CONFigure?", self._configured, kind=question),
            Command(range_, self._set_range, (Number(scale.unit),)),
            Command(range_ + "?", self._range, (Extreme(),), question, scale.unit),
            *(self._cycle_commands() if "line cycles" in self._traits else self._time_commands()),
            *(self._latest_commands() if "free running" in self._traits else self._ask_commands()),
        )

    def _time_commands(self) -> tuple[Command, ...]:
        return (
            Command(f"{self._sense}:APERture", self._set_aperture, (Number("S"),)),
            Command(f"{self._sense}:APERture?", self._aperture, (Extreme(),), Kind.QUESTION, "S"),
        )

    def _cycle_commands(self) -> tuple[Command, ...]:
        """Integration by line cycles, and a function that has to be named."""
        question = Kind.QUESTION
        return (
            Command(f"{self._sense}:NPLCycles", self._set_cycles, (Number(),)),
            Command(f"{self._sense}:NPLCycles?", self._cycles, kind=question),
            Command("[SENSe:]FUNCtion[:ON]", self._set_function, (Text(),)),
            Command("[SENSe:]FUNCtion[:ON]?", lambda: f'"{self._scale.said}"', kind=question),
        )

    def _ask_commands(self) -> tuple[Command, ...]:
        """Measurements that are started, as SCPI-1999's measurement instructions have them."""
        header, unit, question = self._scale.header, self._scale.unit, Kind.QUESTION
        volts = (Number(unit, optional=True),)
        return (
            Command("SAMPle:COUNt", self._set_count, (Integer(1, MOST_SAMPLES),)),
            Command("SAMPle:COUNt?", lambda: str(self._count), kind=question),
            Command("INITiate[:IMMediate]", self._initiate, kind=question),
            Command("FETCh?", self._fetch, (), question, unit),
            Command("READ?", self._read, (), question, unit),
            Command(f"MEASure[:{header}][:DC]?", self._measure, volts, question, unit),
        )

    def _latest_commands(self) -> tuple[Command, ...]:
        """Conversions that never stop: one is told the latest and can't start any."""
        question, unit = Kind.QUESTION, self._scale.unit
        return (
            Command("FETCh?", self._running, (), question, unit),
            Command("[SENSe:]DATA[:LATest]?", self._running, (), question, unit),
        )

    def reset(self) -> None:
        """Return to the default range (40 V, 4 A) and 100 ms."""
        self._latest, self._taken, self._count = None, [], 1
        self._range_v, self._aperture_s = self._scale.default, DEFAULT_APERTURE_S

    def _configure(self, volts: float | Word | None = None) -> None:
        self._set_range(volts)
        self._count = 1
        self._aperture_s = DEFAULT_APERTURE_S

    def _configured(self) -> str:
        return f'"{self._scale.said} {self._range_v:G}"'

    def _set_function(self, name: str) -> None:
        said, header = self._scale.said, self._scale.header.upper()
        if name.upper() not in {said, said[:4], header, f"{header}:DC"}:
            raise ScpiError(-224, f"{name}; this meter measures {said}")

    def _set_cycles(self, cycles: float | Word) -> None:
        wanted = within(cycles, CYCLES[0], CYCLES[-1], DEFAULT_APERTURE_S * LINE_HZ, "cycles")
        self._latest, self._taken = None, []
        self._aperture_s = next(step for step in CYCLES if step >= wanted) / LINE_HZ

    def _cycles(self) -> str:
        return written(self._aperture_s * LINE_HZ)

    def _set_range(self, volts: float | Word | None) -> None:
        least = abs(volts) if isinstance(volts, float) else volts
        wanted = within(least, 0.0, self._scale.greatest, self._scale.default, "range")
        self._latest, self._taken = None, []
        self._range_v = self._scale.smallest(wanted)

    def _range(self, word: Word | None = None) -> str:
        if word is None:
            return written(self._range_v)
        scale = self._scale
        return written(within(word, scale.least, scale.greatest, scale.default, "range"))

    def _set_aperture(self, seconds: float | Word) -> None:
        self._latest, self._taken = None, []
        self._aperture_s = within(seconds, SHORTEST_S, LONGEST_S, DEFAULT_APERTURE_S, "aperture")

    def _aperture(self, word: Word | None = None) -> str:
        if word is None:
            return written(self._aperture_s)
        return written(within(word, SHORTEST_S, LONGEST_S, DEFAULT_APERTURE_S, "aperture"))

    def _set_count(self, count: int) -> None:
        self._taken = []
        self._count = count

    def _initiate(self) -> None:
        """Take a sample now, and the others one after the other as bench time passes."""
        if self._count == 1:
            self._taken = [self._sample()]
            return
        taken = self._taken = [self._sample(waits=False)]

        def another() -> None:
            taken.append(self._sample(waits=False))

        period_s, begun = self._aperture_s + self._overhead_s, self._world.now
        for number in range(1, self._count):
            self._time.at(begun + number * period_s, another)
        self._occupancy.spend(self._count * period_s)

    def _fetch(self) -> str:
        if not self._taken:
            raise ScpiError(-230, "nothing was measured since the last setting")
        return ",".join(map(written, self._taken))

    def _read(self) -> str:
        self._initiate()
        if self._count > 1:
            self._occupancy.before_question()  # all of them have to be there
        return self._fetch()

    def _running(self) -> str:
        """Return the conversion that is under way; asked again meanwhile, it is the same one."""
        conversion_s = self._aperture_s + self._overhead_s
        number = int(self._world.now / conversion_s)
        if self._latest is None or number != self._conversion:
            self._conversion, self._latest = number, self._sample(waits=False)
        return written(self._latest)

    def _measure(self, volts: float | Word | None = None) -> str:
        self._configure(volts)
        return self._read()

    def _sample(self, *, waits: bool = True) -> float:
        """Return one reading and be busy for its time."""
        world, range_v, error = self._world, self._range_v, self._error
        true_v = self._source(self._aperture_s)
        value = error.seen(true_v, range_v, world.temperature("ambient"), world.now)
        value += error.noise_v(range_v, self._aperture_s) * float(self._generator.standard_normal())
        if waits:
            self._occupancy.spend(self._aperture_s + self._overhead_s)
        return self._scale.shown(value, range_v)
