"""A bench in the same process: the world, its meters, and an answer to every request."""

from dataclasses import dataclass, field, replace

import numpy as np

from sequencer.numerics.settling import settled as is_settled
from sequencer.record.read import Step
from sequencer.requests import (
    Answered,
    Applied,
    Apply,
    Ask,
    LoadState,
    Note,
    Noted,
    Read,
    Readings,
    Reply,
    Request,
    Settle,
    Settled,
    SupplyState,
)
from simulated_bench import truth_state
from simulated_bench.controls import shunt_at
from simulated_bench.quantities import Uncertain
from simulated_bench.scenario_models import LineEventTable, Scenario
from simulated_bench.world import World
from tests.campaigns.coverage.meters import Meter
from tests.campaigns.coverage.strata import Plan, spread

READING_S = 0.11
SETTING_S = 0.05
SHUNT_OHM = 0.01
"""By its name; the true one differs within its tolerance."""

SHUNT_DEGC = 25.0
"""The shunt's value is stated at this temperature."""

LOAD_GAIN, LOAD_OFFSET_A, LOAD_OFFSET_V = 1e-3, 5e-3, 20e-3
"""Half-widths of what an electronic load sets wrongly."""

FOREVER_S = 1e9


@dataclass(slots=True)
class Desk:
    """Answer requests on one world; keeps every request with its reply.

    `noiseless` has for each reply to a Read what the meters show on average without noise and
    resolution, and "true" for the load's current.
    """

    world: World
    meters: dict[str, Meter]
    rated_a: float
    rng: np.random.Generator
    steps: list[Step] = field(default_factory=list)
    noiseless: dict[int, dict[str, float]] = field(default_factory=dict)
    _load_gain: float = 0.0
    _load_offset: dict[str, float] = field(default_factory=dict)
    _loaded: bool = False
    _noiseless: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Draw the load's errors."""
        draw = self.rng.uniform(-1.0, 1.0, 3)
        self._load_gain = LOAD_GAIN * float(draw[0])
        self._load_offset = {
            "current": LOAD_OFFSET_A * float(draw[1]),
            "voltage": LOAD_OFFSET_V * float(draw[2]),
        }

    def answer(self, request: Request) -> Reply:
        """Carry out one request."""
        reply = self._carry_out(request)
        self.steps.append(Step(len(self.steps), request, reply))
        return reply

    def _carry_out(self, request: Request) -> Reply:
        match request:
            case Apply(state=LoadState() as state):
                return self._load(state)
            case Apply(state=SupplyState() as state):
                return self._supply(state)
            case Settle():
                return self._settle(request)
            case Read():
                return self._read(request)
            case Note():
                return Noted(at=self.world.now)
            case Ask():
                return Answered(at=self.world.now, done=True, value=float("nan"))
        raise TypeError(f"the desk can't answer {request!r}")

    def _load(self, state: LoadState) -> Applied:
        world = self.world
        if state.on and not self._loaded:
            # The truth's timeline: full load 90 s after the line was switched on.
            world.advance_to(truth_state.LOADED_AT_S)
            self._loaded = True
        level = state.level
        if state.on:
            level = level * (1.0 + self._load_gain) + self._load_offset.get(state.mode, 0.0)
        world.set_load(state.mode, max(level, 0.0), on=state.on)
        world.advance_to(world.now + SETTING_S)
        return Applied(at=world.now, read_back={})

    def _supply(self, state: SupplyState) -> Applied:
        if self.world.programmable and state.voltage is not None:
            self.world.program(state.voltage, self.rated_a, output_on=state.output is not False)
            self.world.advance_to(self.world.now + SETTING_S)
        # A hand's voltage and limit stand as the truth sets them up; only the switch is left.
        elif state.output is not None and state.output != self.world.controls.output_on:
            self.world.set_controls(replace(self.world.controls, output_on=state.output))
        return Applied(at=self.world.now, read_back={})

    def _values(self, channels: tuple[str, ...]) -> list[float]:
        world = self.world
        moment = world.moment()
        point, now, ambient = moment.point, moment.time_s, moment.ambient_degc
        share = point.load_a / self.rated_a
        found: list[float] = []
        self._noiseless = {"true": point.load_a}
        for channel in channels:
            match channel:
                case "voltage.sense":
                    true = point.sense_v
                case "voltage.load":
                    true = point.load_v
                case "voltage.terminals":
                    true = point.terminals_v
                case "current.shunt":
                    true = point.return_a * shunt_at(world.parts, ambient)
                case "current.load":
                    true = point.load_a
                case "current.panel":
                    panel = world.parts.current_panel
                    found.append(panel.shows(point.shunt_a))
                    steady = point.shunt_a * (1.0 + panel.gain) + panel.offset
                    self._noiseless[channel] = max(steady, 0.0)
                    continue
                case "temperature.heatsink":
                    true = moment.heat.heatsink
                case "temperature.ambient":
                    true = ambient
                case _:
                    raise KeyError(channel)
            meter = self.meters[channel]
            per_unit = 1.0 / SHUNT_OHM if channel == "current.shunt" else 1.0
            found.append(meter.read(true, now, ambient, share) * per_unit)
            self._noiseless[channel] = meter.noiseless * per_unit
        world.advance_to(now + READING_S)
        return found

    def _read(self, request: Read) -> Readings:
        world, channels = self.world, request.channels
        start = world.now
        rows, times, noiseless = [], [], []
        for tick in range(request.count):
            world.advance_to(start + tick * request.period_s)
            times.append(world.now)
            rows.append(self._values(channels))
            noiseless.append(self._noiseless)
        self.noiseless[len(self.steps)] = {
            name: float(np.mean([one[name] for one in noiseless])) for name in noiseless[0]
        }
        asked, values = np.array(times), np.array(rows)
        return Readings(
            asked=dict.fromkeys(channels, asked),
            answered=dict.fromkeys(channels, asked + READING_S),
            value={channel: values[:, n] for n, channel in enumerate(channels)},
        )

    def _settle(self, request: Settle) -> Settled:
        world, channels = self.world, tuple(request.tolerance)
        start = world.now
        times: list[float] = []
        rows: list[list[float]] = []
        while True:
            world.advance_to(start + len(times) * request.period_s)
            at = world.now
            rows.append(self._values(channels))
            times.append(world.now)
            found = {
                channel: is_settled(
                    np.array(times),
                    np.array([row[n] for row in rows]),
                    window_s=request.window_s,
                    tolerance=tolerance,
                )
                for n, (channel, tolerance) in enumerate(request.tolerance.items())
            }
            done = all(one.settled for one in found.values())
            if done or at - start >= request.limit_s:
                return Settled(
                    at=at,
                    settled=done,
                    waited_s=at - start,
                    slope_per_s={c: one.slope_per_s for c, one in found.items()},
                    scatter={c: one.scatter for c, one in found.items()},
                )


def bench_scenario(
    plan: Plan, trial: str, *, too_large: float = 1.0, without: tuple[str, str] = ("", "")
) -> Scenario:
    """Return the plan's scenario with the shunt and the room that its statements mean.

    The shunt's value is stated at 25 °C; the room stands off that by the stated span when the
    output is set. In most trials it stays so: a lead's drop holds for the room in which it was
    measured, and the truth is stated for one moment. Soak and heat live in a room that moves.
    """
    steady = trial not in MOVING
    rng = np.random.default_rng((plan.seed, 2))
    shunt, scenario = plan.statements["current.shunt"], plan.scenario
    tolerance, follows, side = (float(one) for one in rng.uniform(-1.0, 1.0, 3))
    off_k = shunt["temperature_span"] if side > 0.0 else -shunt["temperature_span"]
    if without == ("current.shunt", "shunt_tolerance"):
        tolerance = 0.0
    if without == ("current.shunt", "shunt_temperature"):
        follows = 0.0
    ohm = SHUNT_OHM * (1.0 + too_large * tolerance * shunt["shunt_tolerance"])
    per_k = too_large * follows * shunt["shunt_temperature"]
    wiring = {"shunt": Uncertain(ohm), "shunt_tempco": Uncertain(per_k)}
    still = Uncertain(0.0)
    moves = dict.fromkeys(("daily", "heating", "wander"), still) if steady else {}
    room = scenario.room.model_copy(update=moves)
    drawn = World(scenario.model_copy(update={"room": room}), plan.seed).parts.room
    swing = drawn.ambient(truth_state.SET_AT_S) - drawn.mean_degc
    mean = Uncertain(SHUNT_DEGC + off_k - swing)
    short = {"warm_up": SHORT, "soak": SHORT} if steady else {}
    off = LineEventTable(
        at=Uncertain(0.0), duration=Uncertain(FOREVER_S), change=Uncertain(plan.line_off)
    )
    line = {"events": (off,)} if trial == "heat" else {}
    bent = _bent(plan) if trial == "load_steps" else {}
    return scenario.model_copy(
        update={
            "regulator": scenario.regulator.model_copy(update=bent),
            "remote": plan.remote if trial == "set_points" else None,
            "line": scenario.line.model_copy(update=line),
            "stated": scenario.stated.model_copy(update=short),
            "wiring": scenario.wiring.model_copy(update=wiring),
            "room": room.model_copy(update={"mean": mean}),
        }
    )


def _bent(plan: Plan) -> dict[str, Uncertain]:
    """Draw a bend of the output against the current: without, the linearity's truth is nothing.

    A value that can't be below zero is covered too often there, whatever its U.
    """
    rng = np.random.default_rng((plan.seed, 8))
    return {
        "oscillation_from": Uncertain(plan.current * float(rng.uniform(0.2, 0.8))),
        "oscillation_shift": Uncertain(spread(rng, *BEND_V)),
    }


BEND_V = (50e-6, 5e-3)
"""By how much the output sinks below its line at twice the current at which it begins to."""

MOVING = ("soak", "heat")

SHORT = Uncertain(180.0)
"""Where no soak is measured its truth needs not be worked out over an hour."""


def desk_for(
    plan: Plan,
    scenario: Scenario,
    trial: int,
    *,
    too_large: float = 1.0,
    without: tuple[str, str] = ("", ""),
) -> Desk:
    """Return the bench of a plan for its n-th trial: the same unit and meters, set to its voltage.

    Every trial begins as the truth does, on a unit that has just been switched on. `without` names
    a channel and the part of its error that is left out.
    """
    meters = {
        channel: Meter(
            statement,
            fixed=np.random.default_rng((plan.seed, 3, n)),
            rng=np.random.default_rng((plan.seed, 4, n, trial)),
            too_large=too_large,
            without=frozenset(without[1:] if without[0] == channel else ()),
        )
        for n, (channel, statement) in enumerate(plan.statements.items())
    }
    rng = np.random.default_rng((plan.seed, 5, trial))
    world = truth_state.set_up(scenario, plan.seed)
    return Desk(world, meters, plan.current, rng)
