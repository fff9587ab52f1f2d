"""The world of one bench: time, heat, controls and the operating point, for any number of askers.

Heat moves on an absolute grid of bench time. Each cell starts where the last ended or where a
control was moved, with the power and ambient of its start held constant; a question in the
middle of a cell looks ahead without moving anything. So the state is a function of time and of the
moments at which controls were moved, never of how often anyone asked.
"""

from collections.abc import Sequence
from dataclasses import replace
from heapq import heappop, heappush
from math import cos, pi, sqrt
from typing import Final, NamedTuple, cast

from simulated_bench.controls import Controls, circuit_at, leakage_at, peak_at, shunt_at
from simulated_bench.discharge import voltage_after
from simulated_bench.draw import Draws
from simulated_bench.faces import HeatPlace, LoadMode, Place
from simulated_bench.heat import Temperatures
from simulated_bench.load import LoadSetting, draw_current
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.parts import build
from simulated_bench.person import Action, Person
from simulated_bench.rectifier import SAWTOOTH_RMS
from simulated_bench.regulator import clip_ripple_rms
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial, turned

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
        self.parts = build(scenario, draws)
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
        self._due: list[tuple[float, int, Action]] = []
        self._scheduled = 0
        ambient = self.parts.room.ambient(0.0)
        self._cell_start = 0.0
        self._heat = Temperatures(ambient, ambient, ambient, ambient)
        self._last_y: float | None = None
        self._drive_removed_at = 0.0
        self._left_v = 0.0
        self._start: Moment | None = None
        self._seen: Moment | None = None

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
            self._act(action)
        if at > self._now:
            self._cells_to(at)

    def later(self, delay_s: float, action: Action) -> None:
        """Carry an action of the person's hand out after a delay."""
        self._scheduled += 1
        heappush(self._due, (self._now + delay_s, self._scheduled, action))

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        """Set the electronic load's true sinking behaviour (after the load's own errors)."""
        self.set_controls(replace(self.controls, load=LoadSetting(mode, max(level, 0.0), on)))

    def set_controls(self, controls: Controls) -> None:
        """Move controls now; from here on the world goes on with them."""
        if controls == self.controls:
            return
        self._close_cell()
        terminals = self.moment().point.terminals_v
        if self.controls.driven or not controls.driven:
            self._drive_removed_at, self._left_v = self._now, terminals
        self._last_y = self._cell().point.y if self.controls.driven else None
        self.controls = controls
        self._start = self._seen = None

    def voltage(self, place: Place, window_s: float = 0.0) -> float:
        """Return the true voltage at a place, averaged over a window that starts now.

        Slow changes within the window are not followed; ripple is, by its phase.
        """
        moment = self.moment()
        point = moment.point
        if place == "shunt":
            return point.return_a * shunt_at(self.parts, moment.ambient_degc)
        volts = {
            "terminals": point.terminals_v,
            "sense": point.sense_v,
            "load": point.load_v,
        }[place]
        if window_s > 0.0 and self.controls.driven:
            volts += self._ripple_mean(window_s)
        return volts

    def current(self) -> float:
        """Return the true current through the load wiring."""
        return self.moment().point.load_a

    def temperature(self, place: HeatPlace) -> float:
        """Return a true temperature in degrees Celsius."""
        moment = self.moment()
        if place == "ambient":
            return moment.ambient_degc
        return cast("float", getattr(moment.heat, place))

    def ripple_rms(self, place: Place) -> float:
        """Return the true RMS ripple and noise at a place; over the shunt that of its current."""
        if place == "shunt" or not self.controls.driven:
            return 0.0
        regulator = self.parts.regulator
        point = self.moment().point
        swing = regulator.oscillation(point.shunt_a) * regulator.oscillation_rms_v
        return sqrt(self._line_ripple() ** 2 + regulator.noise_rms_v**2 + swing**2)

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
        self._last_y = cell.point.y if self.controls.driven else None
        self._start = None
        if self._heat.junction > self.scenario.heat.destroyed_at.nominal:
            self._destroy()

    def _destroy(self) -> None:
        if self.controls.failure == "none" and self.controls.driven:
            fails = self.scenario.heat.fails
            self.log(
                "damage",
                f"the pass element failed {fails} at {self._heat.junction:.0f} °C in its junction",
            )
            self.set_controls(replace(self.controls, failure=fails))

    def _warmed(self, cell: Moment, elapsed_s: float) -> Temperatures:
        point = cell.point
        junction_w = (point.reservoir_v - point.terminals_v) * (point.shunt_a + point.bleeder_a)
        if not self.controls.driven:
            junction_w = 0.0
        sink_w = point.reservoir_v * leakage_at(self.parts, cell.heat.case)
        return self.parts.heat.step(cell.heat, junction_w, sink_w, cell.ambient_degc, elapsed_s)

    def _ahead(self, at: float) -> Moment:
        cell = self._cell()
        start = cell.point.y if self.controls.driven else None
        return self._solved(at, self._warmed(cell, at - self._cell_start), start)

    def _solved(self, at: float, heat: Temperatures, start: float | None) -> Moment:
        ambient = self.parts.room.ambient(at)
        if self.controls.driven:
            circuit = circuit_at(self.parts, self.controls, at, heat, ambient)
            return Moment(at, heat, ambient, solve(circuit, start))
        return Moment(at, heat, ambient, self._undriven(at))

    def _undriven(self, at: float) -> OperatingPoint:
        """Return the point while only the output capacitor feeds the load."""
        regulator, load = self.parts.regulator, self.controls.load
        volts = voltage_after(
            self._left_v,
            at - self._drive_removed_at,
            regulator.bleeder_ohm,
            regulator.output_capacitance_f,
            load,
            self.parts.load,
        )
        drawn, _ = draw_current(self.parts.load, load, volts)
        wiring = self.parts.wiring
        drop = (wiring.load_leads_ohm + wiring.shunt_ohm) * drawn
        peak = peak_at(self.parts, self.controls, at)
        return OperatingPoint(
            y=0.0,
            shunt_a=drawn,
            load_a=drawn,
            lead_a=drawn,
            return_a=drawn,
            terminals_v=volts,
            sense_v=volts - drop,
            load_v=volts - drop - wiring.residual_ohm * drawn,
            input_v=volts - drop,
            bleeder_a=volts / regulator.bleeder_ohm,
            reservoir_v=peak,
            ripple_v=0.0,
            headroom_v=peak - regulator.saturation_v - volts,
        )

    def _line_ripple(self) -> float:
        point = self.moment().point
        through = point.ripple_v * SAWTOOTH_RMS * self.parts.regulator.ripple_rejection
        return sqrt(through**2 + clip_ripple_rms(point.headroom_v, point.ripple_v) ** 2)

    def _ripple_mean(self, window_s: float) -> float:
        """Return the mean of the ripple's fundamental over a window from now."""
        pulses = 1.0 if self.parts.rectifier.half_wave else 2.0
        omega = 2.0 * pi * pulses * self.parts.line.frequency_hz
        turned = cos(omega * self._now) - cos(omega * (self._now + window_s))
        return sqrt(2.0) * self._line_ripple() * turned / (omega * window_s)

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
