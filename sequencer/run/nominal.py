"""A nominal unit on a nominal bench: what is expected if all is as the documents say.

Not the simulated bench and no truth: good enough to tell durations, currents and powers, and to
let an adaptive procedure take its likely turns.
"""

from dataclasses import dataclass
from math import exp, inf

from sequencer.documents.bench import BenchDocument
from sequencer.documents.resistors import conductance
from sequencer.documents.unit import UnitDocument
from sequencer.requests import LoadState

LIMIT_ABOVE_RATED = 1.1
"""A current limit usually stands about 10 % above the rated current (common practice)."""

OUTPUT_RESISTANCE_OHM = 0.001
CORNER_WIDTH_A = 0.01
CORNER_SCALE_V = 0.01
LIMIT_CONDUCTANCE_S = 0.0002
LEADS_OHM = 0.05
"""Milliohms of output and leads, a corner of 10 mA: a linear supply on a metre of thick wire."""

ROOM_DEGC = 25.0
HEATSINK_K_PER_W = 0.4
HALVINGS = 60
LARGEST_EXPONENT = 20.0
"""Beyond this a rounded corner has fallen through every voltage there is."""

TINY_A = 1e-12


@dataclass(frozen=True, slots=True)
class NominalPoint:
    """The expected operating point: current (A), voltages (V), powers (W; None if unknown).

    With remote sense the unit holds its voltage at the load; the terminals stand higher.
    """

    current: float
    voltage: float
    voltage_at_terminals: float
    load_power: float
    unit_power: float | None


def _excess(setting: float, limit: float, current: float, voltage: float) -> float:
    """Return by how many volts the unit would stand above `voltage` at `current`.

    The unit's rounded corner: V = V0 − R·I − v_w·exp((I − I_L(V))/i_w).
    """
    beyond = (current - limit - LIMIT_CONDUCTANCE_S * (setting - voltage)) / CORNER_WIDTH_A
    drop = inf if beyond > LARGEST_EXPONENT else CORNER_SCALE_V * exp(beyond)
    return setting - OUTPUT_RESISTANCE_OHM * current - drop - voltage


def _voltage_at(setting: float, limit: float, current: float) -> float:
    """Return the unit's voltage at a current, by bisection; 0 V beyond its limit."""
    low, high = 0.0, setting
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = _excess(setting, limit, current, middle) > 0.0
        low, high = (middle, high) if above else (low, middle)
    return (low + high) / 2


def _load_voltage(state: LoadState, current: float) -> float:
    """Return the voltage that a load in constant voltage or resistance has at a current."""
    return state.level if state.mode == "voltage" else state.level * current


def _solve(setting: float, limit: float, state: LoadState) -> tuple[float, float]:
    """Return current and voltage of the unit and the load together."""
    if not state.on or setting <= 0.0:
        return 0.0, max(setting, 0.0)
    if state.mode == "current":
        # A constant-current load above the limit pulls the output down; not a point to plan for.
        current = min(state.level, 2.0 * limit)
        return current, _voltage_at(setting, limit, current)
    if state.mode == "power":
        current = state.level / setting
        return current, _voltage_at(setting, limit, current)
    low, high = 0.0, 2.0 * limit
    for _ in range(HALVINGS):
        current = (low + high) / 2
        wanted = _load_voltage(state, current)
        grows = wanted < setting and _excess(setting, limit, current, wanted) > 0.0
        low, high = (current, high) if grows else (low, current)
    current = (low + high) / 2
    return current, min(_load_voltage(state, current), setting) if current > TINY_A else setting


def nominal_point(
    unit: UnitDocument, bench: BenchDocument, setting: float, state: LoadState
) -> NominalPoint:
    """Solve the nominal unit and the load together; resistors beside it take their V/R."""
    limit = LIMIT_ABOVE_RATED * unit.ratings.current
    siemens = conductance(bench.load.resistors, state.resistors)
    beside = setting * siemens
    if beside > 0.0 and (not state.on or state.mode == "current"):
        state = LoadState("current", beside + (state.level if state.on else 0.0), on=True)
    current, voltage = _solve(setting, limit, state)
    if state.on and state.mode == "voltage" and siemens > 0.0:
        beside = voltage * siemens
        current = max(current, beside)  # held above the output, the load takes nothing
    raw = next((r.unregulated for r in unit.ranges if setting <= r.voltage_to), None)
    wired = bench.wiring.load_leads
    leads = LEADS_OHM if wired is None else wired.resistance_ohm
    return NominalPoint(
        current=current,
        voltage=voltage,
        voltage_at_terminals=voltage + leads * current,
        load_power=max(voltage, 0.0) * max(current - beside, 0.0),
        unit_power=None if raw is None else (raw - voltage) * current,
    )
