"""How one bench goes on: time, heat, controls, faults and the operating point.

Heat moves on an absolute grid of bench time. Each cell starts where the last ended or where a
control was moved, with the power and ambient of its start held constant; a question in the
middle of a cell looks ahead without moving anything. So the state is a function of time and of the
moments at which controls were moved, never of how often anyone asked.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from heapq import heappop, heappush
from math import exp
from typing import Final, NamedTuple

from simulated_bench.controls import Controls, charge_at, leakage_at, peak_at
from simulated_bench.draw import Draws
from simulated_bench.faces import Event
from simulated_bench.frame import Frame
from simulated_bench.heat import Temperatures
from simulated_bench.hold_up import HoldUp, hold_up
from simulated_bench.load import LoadSetting
from simulated_bench.mishaps import State, begun, drawn, ended, told
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.parts import build
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial
from simulated_bench.slew import LEAST_WAY_V, Ends, Slew, limited, slew
from simulated_bench.undriven import drawn_at, standing_point, undriven_point
from simulated_bench.waveform import Step

GRID_S: Final = 1.0
"""Cells of this length resolve the heatsink's minutes; the junction follows within one cell."""

MOST_FOLDS: Final = 20.0
"""Folds of the limit's current; more voltage than that nobody asks for."""


class Moment(NamedTuple):
    """Everything at one time."""

    time_s: float
    heat: Temperatures
    ambient_degc: float
    point: OperatingPoint


MOST_REMEMBERED: Final = 10_000
LONGEST_TEXT: Final = 300
"""What happened longer ago, and the rest of a long text, is forgotten: memory stays bounded."""


class Course:
    """The state of one bench, and what moves it on."""

    def __init__(self, scenario: Scenario, draws: Draws) -> None:
        self._faults = drawn(scenario.unit_faults, draws)
        """Those that are not somebody else's to begin."""
        self.scenario = scenario
        self.parts = build(scenario, draws)
        self.raised: frozenset[str] = frozenset()
        self.controls = Controls(
            line_on=scenario.line.switched_on,
            output_on=False,
            setting=dial(self.parts.setting, 0.0),
            limit_knob=1.0,
            sense=scenario.wiring.sense,
            load=LoadSetting(),
        )
        self._frame: Frame | None = None
        self.events: deque[Event] = deque(maxlen=MOST_REMEMBERED)
        self.now = 0.0
        self.step: Step | None = None
        """The last step of the load."""
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._scheduled = 0
        ambient = self.parts.room.ambient(0.0)
        self._cell_start = 0.0
        self._heat = Temperatures(ambient, ambient, ambient, ambient)
        self._last_y: float | None = None
        self._last_a: float | None = None
        self._standing_v: float | None = None
        """The output's voltage when a control was moved at the start of this cell."""
        self._drive_removed_at = 0.0
        self._left_v = self._stored_v = 0.0
        """Of the output and of the reservoir, when the drive was removed."""
        self._slew: Slew | None = None
        if not self.controls.fed:
            self._power(on=False)
        self._start: Moment | None = None
        self._seen: Moment | None = None
        self._hold_up: HoldUp | None = None
        for fault in self._faults:
            if fault.at is not None:
                self.at(fault.at.nominal, partial(self._happen, fault))

    def advance_to(self, at: float) -> None:
        """Let bench time pass until `at`; does nothing when it is past."""
        while self._due and self._due[0][0] <= at:
            time_s, _, action = heappop(self._due)
            self._cells_to(max(time_s, self.now))
            action()
        if at > self.now:
            self._cells_to(at)

    def at(self, time_s: float, action: Callable[[], None]) -> None:
        """Do something at a bench time."""
        self._scheduled += 1
        heappush(self._due, (time_s, self._scheduled, action))

    def set_controls(self, controls: Controls) -> None:
        """Move controls now; from here on the world goes on with them."""
        if controls != self.controls:
            self.set_state(State(self.parts, controls, self.raised))

    @property
    def driven(self) -> bool:
        """Whether the pass element feeds the output, from the line or from what is left of it."""
        return self.controls.passing and (self.controls.fed or self._hold_up is not None)

    def log(self, kind: str, text: str) -> None:
        """Remember what happened, with the bench time."""
        self.events.append(Event(self.now, kind, text[:LONGEST_TEXT]))

    def moment(self) -> Moment:
        """Return everything as it is now."""
        if self.now == self._cell_start:
            return self._cell()
        if self._seen is None or self._seen.time_s != self.now:
            self._seen = self._ahead(self.now)
        return self._seen

    @property
    def slew(self) -> Slew | None:
        """How the output is on its way to where it settles, if it is."""
        if self._slew is not None and self.now >= self._slew.until_s:
            self._slew = None
        return self._slew

    def standing(self, time_s: float) -> OperatingPoint:
        """Return the point at a time near now, while the output is on its way."""
        point = self.moment().point
        if self._slew is None or time_s >= self._slew.until_s:
            return point
        volts = self._slew.at(time_s)
        return standing_point(self.parts, self.controls, volts, point.reservoir_v)

    @property
    def state(self) -> State:
        """Parts, controls and inputs as they are now."""
        return State(self.parts, self.controls, self.raised)

    def set_state(self, state: State) -> None:
        """Go on from now with other parts, controls and safety inputs."""
        self._close_cell()
        point, was_driven = self.moment().point, self.driven
        stands = point if self.slew is None else self.standing(self.now)
        self._drive_removed_at, self._left_v = self.now, stands.terminals_v
        self._stored_v = point.reservoir_v
        self._last_y = point.y if was_driven else None
        self._standing_v = point.terminals_v
        if state.controls.load != self.controls.load and was_driven:
            if self.step is None or self.step.at_s != self.now:
                self.step = Step(self.now, point)
        elif state.controls != self.controls:
            self.step = None
        fed_before = self.controls.fed
        self.parts, self.controls, self.raised = state
        if self.controls.fed != fed_before:
            self._power(on=self.controls.fed)
        self._start = self._seen = self._hold_up = self._slew = None
        if not self.controls.fed and self.controls.passing:
            self._begin_hold_up(point.reservoir_v)
        elif self.driven:
            self._begin_slew(self._left_v, point.reservoir_v if fed_before else self._stored_v)

    def _power(self, *, on: bool) -> None:
        """Let the reference warm up from now on, or cool down."""
        reference = self.parts.reference.switched(self.now, powered=on)
        self.parts = replace(self.parts, reference=reference)

    def _begin_slew(self, output_v: float, reservoir_v: float) -> None:
        """Send the output on its way, when that is long."""
        point, parts, controls = self.moment().point, self.parts, self.controls
        at_once = not self.scenario.regulator.slews
        if at_once or abs(point.terminals_v - output_v) < LEAST_WAY_V:
            return
        circuit = self._framed().circuit(self.now, self._heat, parts.room.ambient(self.now))
        asked = point.terminals_v + circuit.rounding_v * exp(min(point.y, MOST_FOLDS))
        bleeder = circuit.bleeder_ohm
        self._slew = slew(
            self.now,
            Ends(output_v, reservoir_v, point.terminals_v, point.reservoir_v, asked),
            parts.regulator.output_capacitance_f,
            circuit.saturation_v,
            limited(circuit, asked),
            lambda volts: drawn_at(parts, controls, volts) + volts / bleeder,
            charge_at(parts, controls, self.now),
        )

    def _cell(self) -> Moment:
        """Return everything as it was at the start of the present cell."""
        if self._start is None:
            start, standing = self._last_y, self._standing_v
            last_a = self._last_a if standing is None else None
            self._start = self._solved(self._cell_start, self._heat, start, standing, last_a)
        return self._start

    def _cells_to(self, at: float) -> None:
        boundary = (self._cell_start // GRID_S + 1.0) * GRID_S
        while boundary <= at:
            self._end_cell(boundary)
            boundary += GRID_S
        self.now = at

    def _close_cell(self) -> None:
        """End the present cell now, because a control moves."""
        if self.now > self._cell_start:
            self._end_cell(self.now)

    def _end_cell(self, at: float) -> None:
        cell = self._cell()
        self._heat = self._warmed(cell, at - self._cell_start)
        self._cell_start = self.now = at
        self._last_y = cell.point.y if self.driven else None
        self._last_a = cell.point.shunt_a
        self._standing_v = None
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

    def _solved(
        self,
        at: float,
        heat: Temperatures,
        start: float | None,
        standing_v: float | None = None,
        start_a: float | None = None,
    ) -> Moment:
        ambient = self.parts.room.ambient(at)
        if self.driven:
            left = None if self._hold_up is None else self._hold_up.at(at)
            circuit = self._framed().circuit(at, heat, ambient, left)
            return Moment(at, heat, ambient, solve(circuit, start, standing_v, start_a))
        return Moment(at, heat, ambient, self._undriven(at))

    def _framed(self) -> Frame:
        frame = self._frame
        if frame is None or frame.parts is not self.parts or frame.controls is not self.controls:
            frame = self._frame = Frame(self.parts, self.controls)
        return frame

    def _undriven(self, at: float) -> OperatingPoint:
        elapsed = at - self._drive_removed_at
        if self.controls.fed:
            reservoir = peak_at(self.parts, self.controls, at)
        else:  # nothing but the drivers' leakage empties it
            lost = leakage_at(self.parts, self._heat.case) * elapsed
            reservoir = max(0.0, self._stored_v - lost / self.parts.rectifier.capacitance_f)
        return undriven_point(self.parts, self.controls, self._left_v, elapsed, reservoir)

    def _begin_hold_up(self, reservoir_v: float) -> None:
        """Let the reservoir feed the output from now on, as the line has gone."""
        parts = self.parts
        ambient = parts.room.ambient(self.now)
        circuit = self._framed().circuit(self.now, self._heat, ambient, reservoir_v)

        def draw(volts: float) -> tuple[float, bool]:
            circuit.peak_v = volts
            point = solve(circuit, standing_v=self._left_v)
            return point.shunt_a + point.bleeder_a + circuit.leakage_a, point.headroom_v < 0.0

        self._hold_up = hold_up(
            self.now,
            reservoir_v,
            circuit.saturation_v,
            parts.rectifier.capacitance_f,
            parts.regulator.output_capacitance_f,
            draw,
        )
        if self._hold_up is not None:
            self.at(self._hold_up.until_s, partial(self._end_hold_up, self._hold_up))

    def _end_hold_up(self, which: HoldUp) -> None:
        if which is self._hold_up:  # else a control has been moved since
            self._close_cell()
            point = self.moment().point
            self._drive_removed_at, self._left_v = self.now, point.terminals_v
            self._stored_v = point.reservoir_v
            self._hold_up = self._last_y = self._start = self._seen = None

    def hand_over_faults(self) -> tuple[UnitFaultTable, ...]:
        """Return the scenario's faults of unit and room, which do not happen by themselves then."""
        faults, self._faults = self._faults, ()
        return faults

    def strike(self, fault: UnitFaultTable) -> None:
        """Let a fault begin now."""
        self.log("fault", f"{told(fault)} begins")
        self.set_state(begun(self.state, fault))

    def relieve(self, fault: UnitFaultTable) -> None:
        """Let a fault end now, as far as it can."""
        self.log("fault", f"{told(fault)} is over")
        self.set_state(ended(self.state, fault, self.scenario.wiring.sense))

    def _happen(self, fault: UnitFaultTable) -> None:
        if fault not in self._faults:
            return
        self.strike(fault)
        if fault.lasts is not None:
            self.at(self.now + fault.lasts.nominal, partial(self.relieve, fault))
