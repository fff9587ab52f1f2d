"""What the instruments see of the physics: the face of the world, and of its person.

Units are SI, temperatures degrees Celsius, times seconds of bench time.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from simulated_bench.scenario_faults import UnitFaultTable

LoadMode = Literal["current", "voltage", "resistance", "power"]
Place = Literal["terminals", "sense", "load", "shunt", "panel", "leads"]
"""Where a voltage is; "leads" is where the person last put the leads of a meter that is moved."""
CurrentPlace = Literal["wiring", "load", "panel"]
HeatPlace = Literal["heatsink", "ambient", "reference", "junction"]


class Event(NamedTuple):
    """Something that happened on the bench."""

    time_s: float
    kind: str
    text: str


class PersonFace(Protocol):
    """A simulated person who turns the unit's knobs."""

    def instruct(self, text: str) -> None:
        """Hear an instruction in plain English."""

    def show(self, value: float, *, within: bool) -> None:
        """See the live reading and whether it lies in its band."""

    def state(self) -> tuple[Literal["BUSY", "DONE", "CONFUSED"], str]:
        """Return what the person says, with a remark."""

    def finish(self) -> None:
        """Hear that the instruction is done with."""

    @property
    def typed(self) -> str:
        """What the person typed last."""

    def type_in(self, shown: str) -> None:
        """Have the person type what a meter shows; done when `state` says so."""

    def read(self, which: Literal["voltage", "current"]) -> tuple[float, float]:
        """Read a panel meter; return what was read and how many seconds that takes."""


class WorldFace(Protocol):
    """The physics as instruments see it. Reading never changes it; only time and controls do."""

    @property
    def now(self) -> float:
        """Bench time in seconds."""

    @property
    def programmable(self) -> bool:
        """Whether the unit can be set from afar."""

    @property
    def events(self) -> Sequence[Event]:
        """What has happened so far."""

    @property
    def person(self) -> PersonFace:
        """The person in front of the unit."""

    def advance_to(self, at: float) -> None:
        """Let bench time pass until `at`; does nothing when it is past."""

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        """Set the electronic load's true sinking behaviour (after the load's own errors)."""

    def program(self, voltage: float, current_limit: float, *, output_on: bool) -> None:
        """Set a remote-controlled unit; its own steps and errors come on top."""

    def set_parallel(self, conductance_s: float) -> None:
        """Switch resistors across the load's terminals, given by their conductance."""

    def feed_line(self, volts: float, hertz: float, *, on: bool) -> None:
        """Feed the unit from a line source with this RMS voltage."""

    def line(self) -> tuple[float, float]:
        """Return RMS voltage and frequency of the line that the unit gets."""

    def limiting(self) -> bool:
        """Return whether the unit's current limit has the say."""

    def voltage(self, place: Place, window_s: float = 0.0) -> float:
        """Return the true voltage at a place, averaged over a window that starts now."""

    def current(self, place: CurrentPlace = "wiring", window_s: float = 0.0) -> float:
        """Return the true current through the load wiring or the load alone, or the panel's.

        It is averaged over a window that starts now.
        """

    def interlock(self, name: str) -> bool:
        """Return whether an input such as "smoke" or "interlock" is raised."""

    def waveform(self, place: Place, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the true voltage at bench times about now, with transient and ripple."""

    def temperature(self, place: HeatPlace) -> float:
        """Return a true temperature."""

    def ripple_rms(self, place: Place) -> float:
        """Return the true RMS ripple at a place."""

    def noise_rms(self, place: Place) -> float:
        """Return the unit's own broadband noise at a place, RMS."""

    def hand_over_faults(self) -> tuple[UnitFaultTable, ...]:
        """Return the scenario's faults of unit and room; whoever takes them begins them."""

    def strike(self, fault: UnitFaultTable) -> None:
        """Let a fault of the unit or the room begin now."""

    def relieve(self, fault: UnitFaultTable) -> None:
        """Let it end now, as far as it can end: what is broken stays broken."""

    def log(self, kind: str, text: str) -> None:
        """Remember what happened, with the bench time."""
