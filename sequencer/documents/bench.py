"""The bench document: what is on the table, how it is wired and how accurate it is."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    Field,
    SecretStr,
    StrictBool,
    StrictInt,
    model_validator,
)

from sequencer.documents.bench_references import crossed
from sequencer.documents.channels import Channel
from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.guards import Guards
from sequencer.documents.parsing import quoted
from sequencer.documents.quantities import (
    NonNegativeVolts,
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    PositiveWatts,
)
from sequencer.documents.resistors import MOST, Resistor, Shared, reach, share
from sequencer.documents.tables import Strict
from sequencer.documents.wiring import Wiring

Role = Literal[
    "voltmeter",
    "ammeter",
    "load",
    "supply",
    "line_source",
    "scanner",
    "oscilloscope",
    "thermometer",
    "interlock",
    "switch",
    "time_base",
    "person",
]

READ_BY_EYE = ("voltmeter", "ammeter")

DEFAULT_TIMEOUT_S = 5.0
"""Long against every reading, short against a person's patience."""

ADDRESS = re.compile(
    r"PYTHON::[^:\s]+(::.*)?"
    r"|TCPIP\d*::[^:\s]+::\d{1,5}::SOCKET"
    r"|TCPIP\d*::[^:\s]+(::[a-z]+\d*(,\d+)?)?(::INSTR)?"
    r"|ASRL[^:\s]+(::INSTR)?"
    r"|GPIB\d*::\d{1,2}(::\d{1,2})?(::INSTR)?"
    r"|USB\d*::0x[0-9A-F]{4}::0x[0-9A-F]{4}::[^:\s]+(::\d+)?(::INSTR)?",
    re.IGNORECASE,
)
"""VISA resource strings (VPP-4.3) that the back end can open, and drivers in Python."""


def _plausible(address: str) -> str:
    if not ADDRESS.fullmatch(address):
        expected = "a VISA resource string, such as TCPIP0::192.168.1.20::5025::SOCKET"
        raise_flaws([Flaw((), quoted(address), expected)])
    return address


class BenchTable(Strict):
    """What the bench is; `make_safe` lists roles or instruments in the order they are made safe."""

    name: str = Field(min_length=1)
    description: str = ""
    operator: Literal["terminal", "instrument", "none"] = "none"
    make_safe: tuple[str, ...] = Field(min_length=1)
    backend: str = Field(
        default="@py",
        min_length=1,
        description="The VISA library: @py, @ivi for a system's own, or the path of one.",
    )


class Simulation(Strict):
    """The run starts this simulated bench itself; the addresses come from it."""

    scenario: str = Field(default="healthy", min_length=1)
    seed: StrictInt = Field(default=1, ge=0)


class InstrumentLink(Strict):
    """What differs on this instrument's link from what its dialect says.

    `read_terminator` and `write_terminator` end answers and messages; `echo` is for consoles that
    send each message back; `pause` is the least time between two messages; `first_answer` how long
    the first answer may take; `error_queue = false` for an instrument without one; `baud_rate` and
    the next four are a serial port's; `on_open` and `on_close` are sent after the identity was
    asked and before closing.
    """

    read_terminator: str | None = Field(default=None, min_length=1, max_length=2)
    write_terminator: str | None = Field(default=None, min_length=1, max_length=2)
    echo: StrictBool | None = None
    compound: StrictBool | None = None
    pause: PositiveSeconds | None = None
    first_answer: PositiveSeconds | None = None
    error_queue: StrictBool | None = None
    baud_rate: StrictInt | None = Field(default=None, gt=0)
    data_bits: Literal[5, 6, 7, 8] | None = None
    parity: Literal["none", "odd", "even", "mark", "space"] | None = None
    stop_bits: float | None = Field(default=None, ge=1, le=2, multiple_of=0.5)
    flow_control: Literal["none", "software", "hardware"] | None = None
    on_open: tuple[str, ...] | None = None
    on_close: tuple[str, ...] | None = None

    def given(self) -> dict[str, object]:
        """Return what the document says, without what it leaves to the dialect."""
        return self.model_dump(exclude_none=True, mode="python")


class Instrument(Strict):
    """One instrument. `identity` is text that its answer to *IDN? must contain.

    With `operator`, it has no interface: the bench's operator reads it and types what it shows.
    """

    role: Role
    operator: Literal["terminal", "instrument"] | None = None
    dialect: str = ""
    address: Annotated[str, AfterValidator(_plausible)] = ""
    identity: str | None = Field(default=None, min_length=1)
    timeout: PositiveSeconds = DEFAULT_TIMEOUT_S
    link: InstrumentLink = InstrumentLink()

    @model_validator(mode="after")
    def _spoken_to_or_read(self) -> Self:
        raise_flaws(self._flaws())
        return self

    def _flaws(self) -> Iterator[Flaw]:
        if self.operator is None:
            if not self.dialect:
                yield Flaw(("dialect",), "nothing", "a dialect, or an operator who reads the meter")
            return
        if self.role not in READ_BY_EYE:
            expected = f"{' or '.join(READ_BY_EYE)}: no other instrument is read by a person"
            yield Flaw(("role",), quoted(self.role), expected)
        for key in ("dialect", "address", "identity"):
            if getattr(self, key):
                expected = "no such key beside operator: nothing is sent to this meter"
                yield Flaw((key,), f"a key {key}", expected)


class Notifications(Strict):
    """Whom to tell what became of a run; the address never reaches a record, report or log."""

    address: SecretStr | None = Field(
        default=None, description="Where to, as apprise writes it; STEADYRAIL_NOTIFY comes first."
    )


class LoadRatings(Strict):
    """What the electronic load can take, down to which voltage it works, resistors beside it."""

    instrument: str
    current: PositiveAmperes
    power: PositiveWatts
    voltage: PositiveVolts
    lowest_voltage: NonNegativeVolts
    resistors: tuple[Resistor, ...] = Field(default=(), max_length=MOST)

    def reach(self, voltage: float) -> float:
        """Return the current (A) that the load can take alone at a voltage (V)."""
        return reach(self.current, self.power, voltage)

    def share(self, voltage: float, current: float, hands: tuple[int, ...] | None = None) -> Shared:
        """Return how a current is shared with the resistors; the load alone where none fit."""
        return self.shared(voltage, current, hands) or Shared(current)

    def shared(
        self, voltage: float, current: float, hands: tuple[int, ...] | None = None
    ) -> Shared | None:
        """Return how a current is shared, `hands` as in `resistors.share`; None where none fit."""
        return share(self.reach(voltage), self.resistors, voltage, current, hands)

    def by_hand(self, numbers: tuple[int, ...]) -> tuple[int, ...]:
        """Return those of some resistors that a person connects."""
        return tuple(n for n in numbers if self.resistors[n - 1].by == "hand")


class BenchDocument(Strict):
    """The bench."""

    bench: BenchTable
    simulation: Simulation | None = None
    instruments: Mapping[str, Instrument] = Field(min_length=1)
    channels: Mapping[str, Channel] = Field(min_length=1)
    load: LoadRatings
    wiring: Wiring = Wiring()
    guards: Guards = Field(default_factory=dict)
    notifications: Notifications | None = None

    @classmethod
    def crossed(cls, data: Mapping[str, Any]) -> Iterator[Flaw]:
        """Look at names across tables."""
        yield from crossed(data)

    def with_dialects_beside(self, folder: Path) -> Self:
        """Return the document with the relative paths of its dialect files starting in a folder."""
        moved = {
            name: one.model_copy(update={"dialect": str((folder / one.dialect).absolute())})
            for name, one in self.instruments.items()
            if one.dialect.endswith(".toml")
        }
        return self.model_copy(update={"instruments": {**self.instruments, **moved}})

    @property
    def typed(self) -> frozenset[str]:
        """The channels whose meters have no interface: a person types what they show."""
        by_eye = {name for name, one in self.instruments.items() if one.operator is not None}
        return frozenset(n for n, c in self.channels.items() if c.instrument in by_eye)

    def instruments_of(self, role: str) -> tuple[str, ...]:
        """Return the names of the instruments in a role, in the order of the document."""
        return tuple(name for name, item in self.instruments.items() if item.role == role)
