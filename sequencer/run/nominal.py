"""A nominal unit on a nominal bench: what is expected if all is as the documents say.

Not the simulated bench and no truth: good enough to tell durations, currents and powers, and to
let an adaptive procedure take its likely turns.
"""

from dataclasses import dataclass
from math import exp, inf

from sequencer.documents.bench import BenchDocument
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


def _unit_voltage(setting: float, limit: float, current: float) -> float:
    """Return the output voltage of a unit with a rounded current limit."""
    low, high = -1e3, setting
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        excess = current - limit - LIMIT_CONDUCTANCE_S * (setting - middle)
        overflow = excess > 20 * CORNER_WIDTH_A
        drop = inf if overflow else CORNER_SCALE_V * exp(excess / CORNER_WIDTH_A)
        if setting - OUTPUT_RESISTANCE_OHM * current - drop > middle:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _load_voltage(state: LoadState, current: float) -> float:
    """Return the voltage that the load has at a current in its mode."""
    match state.mode:
        case "voltage":
            return state.level
        case "resistance":
            return state.level * current
        case "power":
            return state.level / current if current > 0.0 else inf
        case "current":
            return -inf if current < state.level else inf


def nominal_point(
    unit: UnitDocument, bench: BenchDocument, setting: float, state: LoadState
) -> NominalPoint:
    """Solve the nominal unit and the load together."""
    limit = LIMIT_ABOVE_RATED * unit.ratings.current
    current = 0.0
    if state.on and setting > 0.0:
        low, high = 0.0, 2.0 * limit
        for _ in range(HALVINGS):
            current = (low + high) / 2
            at_load = _unit_voltage(setting, limit, current)
            wanted = _load_voltage(state, current)
            grows = (
                wanted < at_load
                if state.mode != "power"
                else wanted > 0 and current < (state.level / max(at_load, 1e-3))
            )
            low, high = (current, high) if grows else (low, current)
    voltage = _unit_voltage(setting, limit, current)
    raw = next((r.unregulated for r in unit.ranges if setting <= r.voltage_to), None)
    wired = bench.wiring.load_leads
    leads = LEADS_OHM if wired is None else wired.resistance_ohm
    return NominalPoint(
        current=current,
        voltage=voltage,
        voltage_at_terminals=voltage + leads * current,
        load_power=max(voltage, 0.0) * current,
        unit_power=None if raw is None else (raw - voltage) * current,
    )
