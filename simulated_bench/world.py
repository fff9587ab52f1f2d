"""The world of one bench: time, heat, controls and the operating point, for any number of askers.

Heat moves on an absolute grid of bench time. Each cell starts where the last ended or where a
control was moved, with the power and ambient of its start held constant; a question in the
middle of a cell looks ahead without moving anything. So the state is a function of time and of the
moments at which controls were moved, never of how often anyone asked.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from heapq import heappop, heappush
from math import sqrt
from typing import Final, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from simulated_bench.controls import Controls, circuit_at, leakage_at, peak_at, shunt_at
from simulated_bench.draw import Draws
from simulated_bench.errors import BenchError
from simulated_bench.faces import CurrentPlace, HeatPlace, LoadMode, Place
from simulated_bench.heat import Temperatures
from simulated_bench.hold_up import HoldUp, hold_up
from simulated_bench.load import LoadSetting
from simulated_bench.mishaps import State, begun, drawn, ended, foreseen, told
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.parts import build
from simulated_bench.person import Action, Person
from simulated_bench.ripple import line_ripple_rms, ripple_mean
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial, turned
from simulated_bench.undriven import undriven_point
from simulated_bench.waveform import Step, current_waveform, output_waveform

OUTPUTS: Final = frozenset({"terminals", "sense", "load"})
"""Places that carry the output's ripple."""

GRID_S: Final = 1.0
"""Cells of this length resolve the heatsink's minutes; the junction follows within one cell."""


class Event(NamedTuple):
    """Something that happened on the bench."""

    time_s: float
    kind: str
    text: str


class Moment(NamedTuple):
    """Everything at one time."""

    time_s: float
    heat: Temperatures
    ambient_degc: float
    point: OperatingPoint


class World:
    """The physics of one scenario and seed; implements `simulated_bench.faces.WorldFace`."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        draws = Draws(seed)
        self.scenario = scenario
        faults = drawn(scenario.unit_faults, draws)
        self.parts = foreseen(build(scenario, draws), faults)
        self.raised: frozenset[str] = frozenset()
        self.controls = Controls(
            line_on=scenario.line.switched_on,
            output_on=False,
            setting=dial(self.parts.setting, 0.0),
            limit_knob=1.0,
            sense=scenario.wiring.sense,
            load=LoadSetting(),
        )
        self.events: list[Event] = []
        self._now = 0.0
        self._person = Person(self, scenario.person, draws.generator("person"))
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._scheduled = 0
        ambient = self.parts.room.ambient(0.0)
        self._cell_start = 0.0
        self._heat = Temperatures(ambient, ambient, ambient, ambient)
        self._last_y: float | None = None
        self._drive_removed_at = 0.0
        self._left_v = 0.0
        self._start: Moment | None = None
        self._seen: Moment | None = None
        self._hold_up: HoldUp | None = None
        self._step: Step | None = None
        for fault in faults:
            self._at(fault.at.nominal, partial(self._happen, fault))
            if fault.lasts is not None:
                over = fault.at.nominal + fault.lasts.nominal
                self._at(over, partial(self._pass_over, fault))

    @property
    def now(self) -> float:
        """Bench time in seconds."""
        return self._now

    @property
    def person(self) -> Person:
        """The person in front of the unit."""
        return self._person

    def advance_to(self, at: float) -> None:
        """Let bench time pass until `at`; does nothing when it is past."""
        while self._due and self._due[0][0] <= at:
            time_s, _, action = heappop(self._due)
            self._cells_to(max(time_s, self._now))
            action()
        if at > self._now:
            self._cells_to(at)

    def later(self, delay_s: float, action: Action) -> None:
        """Carry an action of the person's hand out after a delay."""
        self._at(self._now + delay_s, partial(self._act, action))

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        """Set the electronic load's true sinking behaviour (after the load's own errors)."""
        self.set_controls(replace(self.controls, load=LoadSetting(mode, max(level, 0.0), on)))

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
        if controls != self.controls:
            self._set_state(State(self.parts, controls, self.raised))

    @property
    def driven(self) -> bool:
        """Whether the pass element feeds the output, from the line or from what is left of it."""
        return self.controls.passing and (self.controls.fed or self._hold_up is not None)

    def interlock(self, name: str) -> bool:
        """Return whether a safety input, "smoke" or "interlock", is raised."""
        return name in self.raised

    def voltage(self, place: Place, window_s: float = 0.0) -> float:
        """Return the true voltage at a place, averaged over a window that starts now.

        Slow changes within the window are not followed; ripple is, by its phase.
        """
        moment = self.moment()
        point = moment.point
        volts = self._at_place(place, point, moment.ambient_degc)
        if window_s > 0.0 and self.driven and place in OUTPUTS:
            volts += ripple_mean(self.parts, point, self._now, window_s)
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

    def current(self, place: CurrentPlace = "wiring") -> float:
        """Return the true current through the load wiring, or what the panel's meter shows."""
        point = self.moment().point
        if place == "panel":
            return self.parts.current_panel.shows(point.shunt_a)
        return point.load_a

    def waveform(self, place: Place, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the voltage at bench times about now, with the last load step and the ripple.

        Slow changes are not followed: ask within a second of the step. Over the shunt it is that of
        the load's current.
        """
        moment, step = self.moment(), self._step
        level = self._at_place(place, moment.point, moment.ambient_degc)
        was = level if step is None else self._at_place(place, step.before, moment.ambient_degc)
        if not self.driven or place == "panel":
            return np.full(times.shape, level)
        if place == "shunt":
            at = 0.0 if step is None else step.at_s
            return current_waveform(level, was, times, at, self.parts.load.rise_s)
        return output_waveform(self.parts, moment.point, level, times, step, was)

    def temperature(self, place: HeatPlace) -> float:
        """Return a true temperature in degrees Celsius."""
        moment = self.moment()
        if place == "ambient":
            return moment.ambient_degc
        return cast("float", getattr(moment.heat, place))

    def ripple_rms(self, place: Place) -> float:
        """Return the true RMS ripple and noise at a place; over the shunt that of its current."""
        if place == "shunt" or not self.driven:
            return 0.0
        regulator = self.parts.regulator
        point = self.moment().point
        swing = regulator.oscillation(point.shunt_a) * regulator.oscillation_rms_v
        return sqrt(line_ripple_rms(self.parts, point) ** 2 + regulator.noise_rms_v**2 + swing**2)

    def log(self, kind: str, text: str) -> None:
        """Remember what happened, with the bench time."""
        self.events.append(Event(self._now, kind, text))

    def happened(self, kind: str) -> Sequence[Event]:
        """Return what was remembered of a kind."""
        return [event for event in self.events if event.kind == kind]

    def moment(self) -> Moment:
        """Return everything as it is now."""
        if self._now == self._cell_start:
            return self._cell()
        if self._seen is None or self._seen.time_s != self._now:
            self._seen = self._ahead(self._now)
        return self._seen

    def _at(self, time_s: float, action: Callable[[], None]) -> None:
        self._scheduled += 1
        heappush(self._due, (time_s, self._scheduled, action))

    def _set_state(self, state: State) -> None:
        """Go on from now with other parts, controls and safety inputs."""
        self._close_cell()
        point, was_driven, held_up = self.moment().point, self.driven, self._hold_up
        self._drive_removed_at, self._left_v = self._now, point.terminals_v
        self._last_y = point.y if was_driven else None
        if state.controls.load != self.controls.load and was_driven:
            if self._step is None or self._step.at_s != self._now:
                self._step = Step(self._now, point)
        elif state.controls != self.controls:
            self._step = None
        fed_before = self.controls.fed
        self.parts, self.controls, self.raised = state
        self._start = self._seen = self._hold_up = None
        if not self.controls.fed and self.controls.passing and (fed_before or held_up is not None):
            self._begin_hold_up(point.reservoir_v)

    def _cell(self) -> Moment:
        """Return everything as it was at the start of the present cell."""
        if self._start is None:
            self._start = self._solved(self._cell_start, self._heat, self._last_y)
        return self._start

    def _cells_to(self, at: float) -> None:
        boundary = (self._cell_start // GRID_S + 1.0) * GRID_S
        while boundary <= at:
            self._end_cell(boundary)
            boundary += GRID_S
        self._now = at

    def _close_cell(self) -> None:
        """End the present cell now, because a control moves."""
        if self._now > self._cell_start:
            self._end_cell(self._now)

    def _end_cell(self, at: float) -> None:
        cell = self._cell()
        self._heat = self._warmed(cell, at - self._cell_start)
        self._cell_start = self._now = at
        self._last_y = cell.point.y if self.driven else None
        self._start = None
        if self._heat.junction > self.scenario.heat.destroyed_at.nominal:
            self._destroy()

    def _destroy(self) -> None:
        if self.controls.failure == "none" and self.driven:
            fails = self.scenario.heat.fails
            self.log(
                "damage",
                f"the pass element failed {fails} at {self._heat.junction:.0f} °C in its junction",
            )
            self.set_controls(replace(self.controls, failure=fails))

    def _warmed(self, cell: Moment, elapsed_s: float) -> Temperatures:
        point = cell.point
        junction_w = (point.reservoir_v - point.terminals_v) * (point.shunt_a + point.bleeder_a)
        if not self.driven:
            junction_w = 0.0
        sink_w = point.reservoir_v * leakage_at(self.parts, cell.heat.case)
        return self.parts.heat.step(cell.heat, junction_w, sink_w, cell.ambient_degc, elapsed_s)

    def _ahead(self, at: float) -> Moment:
        cell = self._cell()
        start = cell.point.y if self.driven else None
        return self._solved(at, self._warmed(cell, at - self._cell_start), start)

    def _solved(self, at: float, heat: Temperatures, start: float | None) -> Moment:
        ambient = self.parts.room.ambient(at)
        if self.driven:
            left = None if self._hold_up is None else self._hold_up.at(at)
            circuit = circuit_at(self.parts, self.controls, at, heat, ambient, left)
            return Moment(at, heat, ambient, solve(circuit, start))
        return Moment(at, heat, ambient, self._undriven(at))

    def _undriven(self, at: float) -> OperatingPoint:
        reservoir = peak_at(self.parts, self.controls, at)
        elapsed = at - self._drive_removed_at
        return undriven_point(self.parts, self.controls, self._left_v, elapsed, reservoir)

    def _begin_hold_up(self, reservoir_v: float) -> None:
        """Let the reservoir feed the output from now on, as the line has gone."""
        parts, controls = self.parts, self.controls
        ambient = parts.room.ambient(self._now)
        circuit = circuit_at(parts, controls, self._now, self._heat, ambient, reservoir_v)

        def draw(volts: float) -> tuple[float, bool]:
            circuit.peak_v = volts
            point = solve(circuit)
            return point.shunt_a + point.bleeder_a + circuit.leakage_a, point.headroom_v < 0.0

        self._hold_up = hold_up(
            self._now,
            reservoir_v,
            circuit.saturation_v,
            parts.rectifier.capacitance_f,
            parts.regulator.output_capacitance_f,
            draw,
        )
        if self._hold_up is not None:
            self._at(self._hold_up.until_s, partial(self._end_hold_up, self._hold_up))

    def _end_hold_up(self, which: HoldUp) -> None:
        if which is self._hold_up:  # else a control has been moved since
            self._close_cell()
            self._drive_removed_at, self._left_v = self._now, self.moment().point.terminals_v
            self._hold_up = self._last_y = self._start = self._seen = None

    def _happen(self, fault: UnitFaultTable) -> None:
        self.log("fault", f"{told(fault)} begins")
        self._set_state(begun(State(self.parts, self.controls, self.raised), fault))

    def _pass_over(self, fault: UnitFaultTable) -> None:
        self.log("fault", f"{told(fault)} is over")
        state = State(self.parts, self.controls, self.raised)
        self._set_state(ended(state, fault, self.scenario.wiring.sense))

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
            case "nothing":
                pass
        self.set_controls(controls)
        self._person.moved()
