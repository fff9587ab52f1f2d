"""What an instrument is used as: the protocols that the sequencer knows.

Units are SI; times are seconds of bench time. Every method may raise
`drivers.errors.InstrumentError`, which names instrument, address, message and answer.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

LoadMode = Literal["current", "voltage", "resistance", "power"]
Flag = Literal["", "overload", "not a number"]


@dataclass(frozen=True, slots=True)
class InstrumentSpec:
    """How an instrument is reached and spoken to.

    `link` is laid over the dialect's own table of that name (`drivers.dialect.Link`); its key
    `error_queue` takes the dialect's error queue away where it is false.
    """

    name: str
    role: str
    dialect: str
    address: str
    identity: str | None = None
    timeout_s: float = 5.0
    link: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChannelSpec:
    """Which instrument and function provides a named quantity.

    `scale` multiplies the instrument's answer (1/R for a current by shunt). `range_max` is the
    greatest value that the range must hold, in the instrument's own unit; None leaves the
    instrument's default. `integration_s` likewise. `input` is the instrument's input or None; with
    `through`, the input of that scanner, which stands before the instrument and needs `settling_s`
    after its relays have moved. `reference` is the channel that knows the temperature of a
    thermocouple's terminals.
    """

    name: str
    instrument: str
    function: str
    unit: str
    range_max: float | None = None
    integration_s: float | None = None
    input: str | None = None
    scale: float = 1.0
    through: str | None = None
    settling_s: float = 0.0
    reference: str | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One number from one channel, with its times and the text that the instrument sent."""

    channel: str
    value: float
    raw: str
    asked_at: float
    answered_at: float
    flag: Flag = ""


@dataclass(frozen=True, slots=True)
class OperatorState:
    """What the person in front of the unit says: still busy, done, or does not understand.

    `typed` is the line in answer to `Operator.ask_value`.
    """

    state: Literal["busy", "done", "confused"]
    remark: str = ""
    typed: str = ""


class Clock(Protocol):
    """The one clock of a bench: monotonic on a table, the time-base instrument when simulated."""

    def now(self) -> float:
        """Return bench time in seconds."""

    def stamp(self) -> float:
        """Return the latest bench time known without asking any instrument."""

    def sleep_until(self, at: float) -> float:
        """Wait until bench time `at` (return at once if past) and return the time reached."""


class Load(Protocol):
    """An electronic load."""

    def apply(self, mode: LoadMode, level: float, *, on: bool) -> Mapping[str, float | str | bool]:
        """Set mode, level and input; return what the load says it is set to."""

    def off(self) -> bool:
        """Switch the input off; return whether the load confirms it."""


class Supply(Protocol):
    """A supply under remote control."""

    def apply(
        self, *, voltage: float | None, current_limit: float | None, output: bool | None
    ) -> Mapping[str, float | str | bool]:
        """Set what is not None; return what the supply says it is set to."""

    def off(self) -> bool:
        """Switch the output off; return whether the supply confirms it."""


class LineSource(Protocol):
    """A source of line voltage between socket and unit."""

    def apply(
        self, *, voltage: float | None, frequency: float | None, output: bool | None
    ) -> Mapping[str, float | str | bool]:
        """Set what is not None (V RMS, Hz); return what the source says it is set to."""

    def off(self) -> bool:
        """Switch the line off; return whether the source confirms it."""


class Switch(Protocol):
    """Relays that are closed and opened one by one."""

    def switch(self, output: str, *, closed: bool) -> bool:
        """Close or open one relay; return whether it confirms it."""


class Operator(Protocol):
    """A person who turns knobs and moves leads when told."""

    def instruct(self, text: str) -> None:
        """Give an instruction in plain English."""

    def show(self, text: str, value: float, *, within: bool) -> None:
        """Show the live reading that proves the instruction (SI) and whether it is in its band."""

    def ask_value(self, text: str, meter: str) -> None:
        """Ask what a meter without an interface shows; `state` brings the answer as `typed`."""

    def reply(self, text: str) -> None:
        """Tell the person how a typed value was understood."""

    def state(self) -> OperatorState:
        """Return what the person says now."""

    def finish(self) -> None:
        """Tell the person that the instruction is done with."""


class Bench(Protocol):
    """Everything on the table, opened."""

    @property
    def clock(self) -> Clock:
        """The bench's clock."""

    @property
    def load(self) -> Load | None:
        """The electronic load, if there is one."""

    @property
    def supply(self) -> Supply | None:
        """The supply under remote control, if it is."""

    @property
    def line_source(self) -> LineSource | None:
        """The source of line voltage, if there is one."""

    @property
    def switches(self) -> Mapping[str, Switch]:
        """The switches, by instrument name."""

    @property
    def operator(self) -> Operator | None:
        """The person who turns knobs, if somebody is there."""

    def watch_with(
        self, watcher: Callable[[Callable[[Sequence[str]], tuple[str, ...]]], None] | None
    ) -> None:
        """Have the guards looked at before anything is tried again; None ends that.

        The watcher gets a function that leaves out channels of lost instruments.
        """

    def identities(self) -> Mapping[str, str]:
        """Return each instrument's answer to *IDN?, by instrument name."""

    def ranges(self) -> Mapping[str, float]:
        """Return by channel the range in use where it is not the one asked for.

        In the unit of the instrument's own answer; behind a scanner known once it was read.
        """

    def read(self, channels: Sequence[str]) -> tuple[Reading, ...]:
        """Read channels together: ask every instrument first, then collect in turn."""

    def check_errors(self) -> tuple[str, ...]:
        """Empty every error queue; return what stood there as `instrument: number, text`."""

    def close(self) -> None:
        """Close every session; never raises."""


@dataclass(frozen=True, slots=True)
class BenchSpec:
    """All that `drivers.connect` needs to open a bench.

    `typed` has the units of channels that a person reads; no instrument is asked for them.
    """

    instruments: tuple[InstrumentSpec, ...]
    channels: tuple[ChannelSpec, ...]
    operator: Literal["terminal", "instrument", "none"] = "none"
    options: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
