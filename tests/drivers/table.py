"""A bench of stand-ins, each on a socket of its own, and the specs that describe it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from stand_in import StandIn

from drivers.bench import OpenBench
from drivers.connect import connect
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

TIMEOUT_S = 0.3

ROLES = {
    "clock": "time_base",
    "meter_a": "voltmeter",
    "meter_b": "voltmeter",
    "load": "load",
    "thermo": "thermometer",
    "interlock": "interlock",
    "person": "person",
}

CHANNELS = (
    ChannelSpec("voltage.sense", "meter_a", "voltage", "V", range_max=40.0, integration_s=0.1),
    ChannelSpec("current.shunt", "meter_b", "voltage", "A", scale=100.0),
    ChannelSpec("current.load", "load", "current", "A"),
    ChannelSpec("temperature.heatsink", "thermo", "temperature", "degC", input="101"),
    ChannelSpec("interlock.smoke", "interlock", "state", "1", input="1"),
    ChannelSpec("interlock.stop", "interlock", "state", "1", input="2"),
    ChannelSpec("temperature.ambient", "thermo", "temperature", "degC", input="102"),
)


@dataclass
class LoadState:
    """What the stand-in load is set to."""

    mode: str = "CURR"
    levels: dict[str, float] = field(
        default_factory=lambda: {"CURR": 0.0, "VOLT": 60.0, "RES": 1e4, "POW": 0.0}
    )
    on: bool = False
    step: float = 0.0005
    trips: bool = False


@dataclass
class Table:
    """The stand-ins and what happened."""

    servers: dict[str, StandIn]
    load: LoadState = field(default_factory=LoadState)
    events: list[tuple[str, str]] = field(default_factory=list)
    bench_time: float = 100.0
    meter_range: float = 10.0

    def spec(
        self, names: Sequence[str] = (), channels: tuple[ChannelSpec, ...] = CHANNELS
    ) -> BenchSpec:
        names = tuple(names) or tuple(self.servers)
        return BenchSpec(
            instruments=tuple(self.instrument(name) for name in names),
            channels=tuple(c for c in channels if c.instrument in names),
            operator="instrument" if "person" in names else "none",
        )

    def instrument(self, name: str) -> InstrumentSpec:
        role = ROLES[name]
        return InstrumentSpec(
            name=name,
            role=role,
            dialect=f"scpi-{role.replace('_', '-')}",
            address=self.servers[name].address,
            identity=name.upper(),
            timeout_s=TIMEOUT_S,
        )

    def connect(self, *names: str) -> OpenBench:
        return self.open(self.spec(names))

    def open(self, spec: BenchSpec) -> OpenBench:
        return connect(spec, on_event=lambda kind, text: self.events.append((kind, text)))

    def kinds(self) -> list[str]:
        return [kind for kind, _ in self.events]


def set_up() -> Table:
    table = Table({name: StandIn(f"WORKSHOP,{name.upper()},SIM0001,1.0") for name in ROLES})
    _clock(table)
    _meters(table)
    _load(table)
    _others(table)
    return table


def _clock(table: Table) -> None:
    clock = table.servers["clock"]
    clock.answers["CLOCk:TIME?"] = lambda: repr(table.bench_time)

    def handle(part: str, answer=clock.answer) -> str | None:  # type: ignore[no-untyped-def]
        if part.startswith("CLOCk:UNTil? "):
            table.bench_time = max(table.bench_time, float(part.split()[1]))
            return repr(table.bench_time)
        return answer(part)  # type: ignore[no-any-return]

    clock.answer = handle  # type: ignore[method-assign]


def _meters(table: Table) -> None:
    def set_range(text: str) -> None:
        table.meter_range = next(r for r in (0.1, 1.0, 10.0, 100.0, 1000.0) if r >= float(text))

    for name, value in (("meter_a", "+2.99990000E+01"), ("meter_b", "+3.00000000E-02")):
        meter = table.servers[name]
        meter.answers["READ?"] = value
        meter.answers["SENSe:VOLTage:DC:RANGe?"] = lambda: f"{table.meter_range:E}"
        meter.answers["SENSe:VOLTage:DC:APERture?"] = "1.00000000E-01"
        meter.settings["SENSe:VOLTage:DC:RANGe"] = set_range
        meter.settings["SENSe:VOLTage:DC:APERture"] = lambda _: None


def _load(table: Table) -> None:
    state, load = table.load, table.servers["load"]
    short = {"CURRent": "CURR", "VOLTage": "VOLT", "RESistance": "RES", "POWer": "POW"}

    def set_mode(text: str) -> None:
        state.mode = short[text]

    def set_input(text: str) -> None:
        state.on = text == "1" and not state.trips

    def level_setter(key: str):  # type: ignore[no-untyped-def]
        def set_level(text: str) -> None:
            if float(text) > 100 and key == "CURR":
                load.errors.append('-222,"Data out of range;SOURce:CURRent"')
                return
            state.levels[key] = round(float(text) / state.step) * state.step

        return set_level

    def level_reader(key: str):  # type: ignore[no-untyped-def]
        return lambda: f"{state.levels[key]:.4f}"

    load.settings["SOURce:FUNCtion"] = set_mode
    load.settings["INPut"] = set_input
    load.answers["SOURce:FUNCtion?"] = lambda: state.mode
    load.answers["INPut?"] = lambda: str(int(state.on))
    load.answers["MEASure:CURRent?"] = lambda: str(state.levels["CURR"] * state.on)
    for long, key in short.items():
        load.settings[f"SOURce:{long}"] = level_setter(key)
        load.answers[f"SOURce:{long}?"] = level_reader(key)


def _others(table: Table) -> None:
    table.servers["thermo"].answers["MEASure:TEMPerature? (@101)"] = "41.5"
    table.servers["thermo"].answers["MEASure:TEMPerature? (@102)"] = "23.25"
    table.servers["interlock"].answers["INPut:EVENt? (@1)"] = "0"
    table.servers["interlock"].answers["INPut:EVENt? (@2)"] = "1"
    person = table.servers["person"]
    person.answers["OPERator:STATe?"] = "BUSY"
    person.answers["OPERator:FINish"] = lambda: None  # type: ignore[assignment,return-value]
    person.settings["OPERator:INSTruct"] = lambda _: None
    person.settings["OPERator:SHOW"] = lambda _: None


def changed(spec: BenchSpec, instrument: str, **fields: object) -> BenchSpec:
    """Return the spec with one instrument's fields changed."""
    return replace(
        spec,
        instruments=tuple(
            replace(i, **fields) if i.name == instrument else i  # type: ignore[arg-type]
            for i in spec.instruments
        ),
    )
