"""The world of one bench, as instruments and the person's hands meet it.

Reading never changes anything; only time and controls do (`course.py`).
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import sqrt
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from simulated_bench.controls import Controls, shunt_at
from simulated_bench.course import Course, Moment
from simulated_bench.draw import Draws
from simulated_bench.errors import BenchError
from simulated_bench.faces import CurrentPlace, Event, HeatPlace, LoadMode, Place
from simulated_bench.load import own_current
from simulated_bench.mishaps import State
from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts
from simulated_bench.person import LEADS, Action, Person
from simulated_bench.ripple import line_ripple_rms, ripple_mean
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial, turned
from simulated_bench.waveform import current_waveform, output_waveform

OUTPUTS: Final = frozenset({"terminals", "sense", "load"})
"""Places that carry the output's ripple."""

SAMPLED: Final = np.linspace(0.0, 1.0, 65)
"""Of a window, while the output is on its way."""


class World:
    """The physics of one scenario and seed; implements `simulated_bench.faces.WorldFace`."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        draws = Draws(seed)
        self.scenario = scenario
        self._course = Course(scenario, draws)
        self._switched_s = 0.0
        self._by_hand: list[float] = []  # ohms across the load's terminals
        self._leads: Place | None = "sense"  # None while they are in a hand
        self._person = Person(self, scenario.person, draws.generator("person"))

    @property
    def parts(self) -> Parts:
        """The unit and what is around it, as they are now."""
        return self._course.parts

    @property
    def controls(self) -> Controls:
        """Where everything stands."""
        return self._course.controls

    @property
    def events(self) -> Sequence[Event]:
        """What has happened so far, the latest of it."""
        return self._course.events

    @property
    def now(self) -> float:
        """Bench time in seconds."""
        return self._course.now

    @property
    def person(self) -> Person:
        """The person in front of the unit."""
        return self._person

    def advance_to(self, at: float) -> None:
        """Let bench time pass until `at`; does nothing when it is past."""
        self._course.advance_to(at)

    def later(self, delay_s: float, action: Action) -> None:
        """Carry an action of the person's hand out after a delay."""
        self._course.at(self._course.now + delay_s, partial(self._act, action))

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        """Set the electronic load's true sinking behaviour (after the load's own errors)."""
        load = replace(self.controls.load, mode=mode, level=max(level, 0.0), on=on)
        self.set_controls(replace(self.controls, load=load))

    def set_parallel(self, conductance_s: float) -> None:
        """Switch resistors across the load's terminals, given by their conductance."""
        self._switched_s = conductance_s
        self.set_controls(self._with_resistors(self.controls))

    def _with_resistors(self, controls: Controls) -> Controls:
        parallel_s = self._switched_s + sum(1.0 / ohm for ohm in self._by_hand)
        return replace(controls, load=replace(controls.load, parallel_s=parallel_s))

    def feed_line(self, volts: float, hertz: float, *, on: bool) -> None:
        """Feed the unit from a line source with this RMS voltage."""
        parts, controls, raised = self._course.state
        line = replace(parts.line, source_v=volts, frequency_hz=hertz)
        rectifier = replace(parts.rectifier, frequency_hz=hertz)
        fed = replace(controls, source_on=on)
        self._course.set_state(State(replace(parts, line=line, rectifier=rectifier), fed, raised))

    def line(self) -> tuple[float, float]:
        """Return RMS voltage and frequency of the line that the unit gets."""
        line, controls = self.parts.line, self.controls
        live = controls.socket_live and controls.source_on
        return (line.voltage(self.now) if live else 0.0), line.frequency_hz

    @property
    def programmable(self) -> bool:
        """Whether the unit can be set from afar."""
        return self.parts.setting.remote is not None

    def limiting(self) -> bool:
        """Return whether the unit's current limit has the say."""
        return self._course.driven and self.moment().point.y > 0.0

    def hand_over_faults(self) -> tuple[UnitFaultTable, ...]:
        """Return the scenario's faults of unit and room; whoever takes them begins them."""
        return self._course.hand_over_faults()

    def strike(self, fault: UnitFaultTable) -> None:
        """Let a fault of the unit or the room begin now."""
        self._course.strike(fault)

    def relieve(self, fault: UnitFaultTable) -> None:
        """Let it end now, as far as it can end: what is broken stays broken."""
        self._course.relieve(fault)

    def program(self, voltage: float, current_limit: float, *, output_on: bool) -> None:
        """Set a remote-controlled unit; its own steps and errors come on top.

        Raises
        ------
        BenchError
            If the unit has a knob and switches only.
        """
        remote = self.parts.setting.remote
        if remote is None:
            raise BenchError(
                f"scenario {self.scenario.name}: found no [remote] table, expected one for a unit "
                "that is to be set from afar; ask the person instead"
            )
        full = self.parts.regulator.limit_current_a
        self.set_controls(
            replace(
                self.controls,
                setting=dial(self.parts.setting, voltage),
                limit_knob=max(0.0, remote.current(current_limit)) / full,
                output_on=output_on,
            )
        )

    def set_controls(self, controls: Controls) -> None:
        """Move controls now; from here on the world goes on with them."""
        self._course.set_controls(controls)

    def interlock(self, name: str) -> bool:
        """Return whether an input such as "smoke" or "interlock" is raised."""
        return name in self._course.raised

    def voltage(self, place: Place, window_s: float = 0.0) -> float:
        """Return the true voltage at a place, averaged over a window that starts now.

        Slow changes within the window are not followed; ripple is, by its phase, and an output on
        its way to where it settles (`slew.py`).
        """
        if place == "leads":
            return 0.0 if self._leads is None else self.voltage(self._leads, window_s)
        if self._course.slew is not None:
            return float(np.mean(self._on_its_way(place, self.now + SAMPLED * window_s)))
        moment = self.moment()
        point = moment.point
        volts = self._at_place(place, point, moment.ambient_degc)
        if window_s > 0.0 and self._course.driven and place in OUTPUTS:
            volts += ripple_mean(self.parts, point, self._course.now, window_s)
        return volts

    def _at_place(self, place: Place, point: OperatingPoint, ambient_degc: float) -> float:
        if place == "sense":
            return point.sense_v
        if place == "load":
            return point.load_v
        if place == "terminals":
            return point.terminals_v
        if place == "shunt":
            return point.return_a * shunt_at(self.parts, ambient_degc)
        return self.parts.voltage_panel.shows(point.terminals_v)

    def current(self, place: CurrentPlace = "wiring", window_s: float = 0.0) -> float:
        """Return the true current through the load wiring or the load alone, or the panel's.

        It is averaged over a window that starts now, as far as an output on its way (`slew.py`) is
        concerned: a meter does not see a pulse of milliseconds at its height.
        """
        if self._course.slew is None:
            return self._current_at(place, self.moment().point)
        points = map(self._course.standing, self.now + SAMPLED * window_s)
        return float(np.mean([self._current_at(place, point) for point in points]))

    def _current_at(self, place: CurrentPlace, point: OperatingPoint) -> float:
        if place == "panel":
            return self.parts.current_panel.shows(point.shunt_a)
        if place == "load" and self.controls.load.parallel_s > 0.0:
            return own_current(self.parts.load, self.controls.load, point.load_v)[0]
        return point.load_a

    def waveform(self, place: Place, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the voltage at bench times about now, with the last load step and the ripple.

        Slow changes are not followed: ask within a second of the step. Over the shunt it is that of
        the load's current.
        """
        moment, step = self.moment(), self._course.step
        level = self._at_place(place, moment.point, moment.ambient_degc)
        was = level if step is None else self._at_place(place, step.before, moment.ambient_degc)
        if not self._course.driven or place == "panel":
            return np.full(times.shape, level)
        if place == "shunt":
            at = 0.0 if step is None else step.at_s
            return current_waveform(level, was, times, at, self.parts.load.rise_s)
        volts = output_waveform(self.parts, moment.point, level, times, step, was)
        slew = self._course.slew
        if slew is not None:
            passed = times < slew.until_s  # before it began the output stood where it begins
            volts[passed] = self._on_its_way(place, times[passed])
        return volts

    def _on_its_way(self, place: Place, times: NDArray[np.float64]) -> NDArray[np.float64]:
        ambient = self.moment().ambient_degc
        points = (self._course.standing(float(time_s)) for time_s in times)
        return np.array([self._at_place(place, point, ambient) for point in points])

    def temperature(self, place: HeatPlace) -> float:
        """Return a true temperature in degrees Celsius."""
        moment = self.moment()
        if place == "ambient":
            return moment.ambient_degc
        return cast("float", getattr(moment.heat, place))

    def ripple_rms(self, place: Place) -> float:
        """Return the true RMS ripple and noise at a place; over the shunt that of its current."""
        if place == "shunt" or not self._course.driven:
            return 0.0
        regulator = self.parts.regulator
        point = self.moment().point
        swing = regulator.oscillation(point.shunt_a) * regulator.oscillation_rms_v
        return sqrt(line_ripple_rms(self.parts, point) ** 2 + regulator.noise_rms_v**2 + swing**2)

    def noise_rms(self, place: Place) -> float:
        """Return the unit's own broadband noise at a place, RMS."""
        driven = place in OUTPUTS and self._course.driven
        return self.parts.regulator.noise_rms_v if driven else 0.0

    def log(self, kind: str, text: str) -> None:
        """Remember what happened, with the bench time."""
        self._course.log(kind, text)

    def happened(self, kind: str) -> Sequence[Event]:
        """Return what was remembered of a kind."""
        return [event for event in self.events if event.kind == kind]

    def moment(self) -> Moment:
        """Return everything as it is now."""
        return self._course.moment()

    def _act(self, action: Action) -> None:
        controls, setting = self.controls, self.parts.setting
        match action.control:
            case "voltage":
                controls = replace(controls, setting=dial(setting, action.amount))
            case "trim":
                moved = turned(setting, controls.setting, action.amount)
                controls = replace(controls, setting=moved)
            case "limit":
                full = self.scenario.regulator.limit_current.nominal
                controls = replace(controls, limit_knob=min(1.0, max(0.0, action.amount / full)))
            case "output":
                controls = replace(controls, output_on=action.amount > 0.0)
            case "line":
                controls = replace(controls, line_on=action.amount > 0.0)
            case "leads":
                self._leads = LEADS.get(action.amount)
                if self._leads is None:
                    return  # half of the movement
            case "resistors":
                self._connect(action.amount)
                controls = self._with_resistors(controls)
            case "nothing":
                pass
        self.set_controls(controls)
        self._person.moved()

    def _connect(self, ohm: float) -> None:
        """Connect a resistor; take it off where negative; take all off for zero."""
        if ohm > 0.0:
            self._by_hand.append(ohm)
        elif -ohm in self._by_hand:
            self._by_hand.remove(-ohm)
        elif ohm == 0.0:
            self._by_hand.clear()
