"""Random units and benches, by what makes them hard to measure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator

from simulated_bench import scenario as scenarios
from simulated_bench.quantities import Uncertain
from simulated_bench.scenario_models import RemoteTable, Scenario

STRATA = ("healthy", "soft corner", "strong drift", "noisy meters", "few readings")

SOAK_S, WARM_UP_S, SOAK_PERIOD_S = 3600.0, 600.0, 5.0
"""An hour stands for the eight: so a bench takes a second. The truth is stated for the same."""

LONG_SOAK_S, LONG_SOAKS = 3 * 3600.0, 5
"""Every fifth bench of each stratum has a soak that shows the Allan deviation over an hour."""

Statements = Mapping[str, Mapping[str, float]]
"""By channel: accuracy by component, SI."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One bench of the campaign: all that is stated, and the seed of all that is not.

    `remote` is the unit's control where a trial needs one that is set from afar, `line_off` by
    which part the line is off its nominal voltage where a trial feels it.
    """

    stratum: str
    seed: int
    scenario: Scenario
    statements: Statements
    settings: Mapping[str, Mapping[str, Any]]
    voltage: float
    current: float
    departure: float
    remote: RemoteTable
    line_off: float


def spread(rng: Generator, low: float, high: float) -> float:
    """Draw a value that is as likely in every octave."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def plan(seed: int) -> Plan:
    """Return the bench of a seed; strata take turns."""
    stratum = STRATA[seed % len(STRATA)]
    rng = np.random.default_rng((seed, 1))
    voltage = float(np.round(rng.uniform(6.0, 30.0), 1))
    departure = spread(rng, 4e-3, 20e-3)
    band = round(voltage * spread(rng, 5e-6, 50e-6), 7)
    statements = _statements(rng, noisy=stratum == "noisy meters")
    few = stratum == "few readings"
    # A generator of their own: what came later changes nothing of the trials before.
    later = np.random.default_rng((seed, 7))
    statements |= _more_statements(later, noisy=stratum == "noisy meters")
    soak_s = LONG_SOAK_S if seed // len(STRATA) % LONG_SOAKS == 0 else SOAK_S
    steps = {
        "voltage": f"{voltage} V",
        "current": "3 A",
        "readings": 2 if few else int(rng.integers(3, 9)),
        "repeats": 2 if few else int(rng.integers(3, 6)),
    }
    sweep = {
        "voltage": f"{voltage} V",
        "readings": 2 if few else int(rng.integers(3, 7)),
        "points": int(rng.integers(7, 12)),
    }
    return Plan(
        stratum=stratum,
        seed=seed,
        scenario=_as_panel(
            statements, _unit(rng, stratum, voltage, departure, band), later, soak_s
        ),
        statements=statements,
        settings={
            "sense_check": steps,
            "load_steps": steps,
            "limit_sweep": sweep,
            "soak": {
                "voltage": f"{voltage} V",
                "current": "3 A",
                "duration": f"{soak_s} s",
                "warm_up": f"{WARM_UP_S} s",
                "warm_up_band": f"{band} V",
                "period": f"{SOAK_PERIOD_S * (4 if few else 1)} s",
            },
            "set_points": {
                "voltage_to": f"{voltage} V",
                "readings": 2 if few else int(later.integers(3, 9)),
            },
            "output_off": {
                "voltage": f"{voltage} V",
                "duration": f"{later.uniform(8.0, 16.0)} s",
                "period": "0.5 s" if few else f"{later.uniform(0.12, 0.3)} s",
            },
            "heat": {
                "voltage": f"{voltage} V",
                "current": "3 A",
                "period": "30 s" if few else "5 s",
            },
        },
        voltage=voltage,
        current=3.0,
        departure=departure,
        remote=_remote(later),
        line_off=float(later.uniform(-LINE_OFF, LINE_OFF)),
    )


LINE_OFF = 0.1
"""Within a tenth of its nominal voltage (IEC 60038)."""


def _remote(rng: Generator) -> RemoteTable:
    """Draw a remote control, from one that sets to a hundredth of a millivolt to a coarse one."""
    return RemoteTable(
        voltage_step=Uncertain(spread(rng, 0.01e-3, 10e-3)),
        voltage_gain=Uncertain(0.0, spread(rng, 1e-5, 1e-3)),
        voltage_offset=Uncertain(0.0, spread(rng, 0.1e-3, 10e-3)),
        current_step=Uncertain(1e-3),
        current_gain=Uncertain(0.0),
        current_offset=Uncertain(0.0),
    )


def _statements(rng: Generator, *, noisy: bool) -> dict[str, dict[str, float]]:
    """Draw accuracy statements from a calibrated system meter to a plain one.

    Each component varies on its own, so that now this one dominates a budget, now that one.
    """

    def times(low: float = 0.3, high: float = 3.0) -> float:
        return spread(rng, low, high)

    span = float(rng.uniform(1.0, 5.0))
    louder = spread(rng, 5.0, 30.0) if noisy else times()

    def volts() -> dict[str, float]:
        return {
            "gain": 3e-5 * times(),
            "offset": 0.4e-3 * times(),
            "noise": 15e-6 * louder,
            "resolution": 10e-6 * times(0.1, 3.0),
            "temperature_gain": 3e-6 * times(),
            "temperature_offset": 10e-6 * times(),
            "temperature_span": span,
            "stability_gain": 3e-6 * times(),
            "stability_offset": 15e-6 * times(),
            "thermal_emf": 2e-6 * times(),
        }

    shunt = {
        "gain": 3e-5 * times(),
        "offset": 10e-6 * times(),
        "noise": 0.5e-6 * louder,
        "resolution": 0.1e-6 * times(),
        "temperature_gain": 3e-6 * times(),
        "temperature_offset": 0.2e-6 * times(),
        "temperature_span": span,
        "stability_gain": 3e-6 * times(),
        "stability_offset": 0.5e-6 * times(),
        "thermal_emf": 2e-6 * times(),
        "shunt_tolerance": 1e-3 * times(0.1, 2.0),
        "shunt_temperature": 20e-6 * times(),
    }
    return {
        "voltage.sense": volts(),
        "voltage.load": volts(),
        "voltage.terminals": volts(),
        "current.shunt": shunt,
        "current.load": {
            "gain": 5e-4 * times(),
            "offset": 3e-3 * times(),
            "noise": 0.2e-3 * louder,
            "resolution": 0.1e-3 * times(),
        },
    }


def _more_statements(rng: Generator, *, noisy: bool) -> dict[str, dict[str, float]]:
    """Draw those of the thermometers, and of the unit's own ammeter where somebody reads it."""
    louder = spread(rng, 3.0, 10.0) if noisy else spread(rng, 0.3, 3.0)
    found = {
        f"temperature.{place}": {
            "offset": 0.5 * spread(rng, 0.2, 2.0),
            "noise": 0.02 * louder,
            "resolution": 0.01,
        }
        for place in ("heatsink", "ambient")
    }
    panel = {
        "gain": 15e-3 * spread(rng, 0.2, 2.0),
        "offset": 20e-3 * spread(rng, 0.2, 2.0),
        "resolution": spread(rng, 0.3e-3, 20e-3),
    }
    return found | ({"current.panel": panel} if rng.uniform() < WITH_PANEL else {})


WITH_PANEL = 0.5
"""Half of the benches read the unit's own ammeter as well."""


def _as_panel(
    statements: Statements, scenario: Scenario, rng: Generator, soak_s: float
) -> Scenario:
    """Return the scenario with the panel's meter as stated, another bleeder and a soak so long."""
    panel, regulator = statements.get("current.panel"), scenario.regulator
    found = scenario.panel
    if panel is not None:
        found = found.model_copy(
            update={
                "current_gain": Uncertain(0.0, panel["gain"]),
                "current_offset": Uncertain(0.0, panel["offset"]),
                "current_resolution": Uncertain(panel["resolution"]),
            }
        )
    bleeder = Uncertain(regulator.bleeder.nominal * spread(rng, 0.5, 2.0))
    return scenario.model_copy(
        update={
            "panel": found,
            "regulator": regulator.model_copy(update={"bleeder": bleeder}),
            "stated": scenario.stated.model_copy(update={"soak": Uncertain(soak_s)}),
        }
    )


FILTERED_S = (0.1, 10.0)
"""A reference's filter leaves faster flicker out: much moves between readings, or little."""


def _unit(rng: Generator, stratum: str, voltage: float, departure: float, band: float) -> Scenario:
    base = scenarios.load("healthy")
    soft, strong = stratum == "soft corner", stratum == "strong drift"

    def times(value: Uncertain, low: float = 0.5, high: float = 2.0) -> Uncertain:
        return Uncertain(value.nominal * spread(rng, low, high))

    def either(value: float) -> Uncertain:
        return Uncertain(value * float(rng.uniform(-1.0, 1.0)))

    r, ref, heat = base.regulator, base.reference, base.heat
    drift = spread(rng, 2.0, 6.0) if strong else spread(rng, 0.5, 1.5)
    regulator = {
        "output_resistance": Uncertain(spread(rng, 0.3e-3, 4e-3)),
        "rounding_voltage": times(r.rounding_voltage),
        "rounding_current": Uncertain(
            spread(rng, 25e-3, 60e-3) if soft else spread(rng, 3e-3, 15e-3)
        ),
        "limit_current": Uncertain(float(rng.uniform(3.15, 3.7)) + (0.25 if soft else 0.0)),
        "limit_conductance": times(r.limit_conductance, 0.3, 3.0),
        # It takes milliseconds, a reading follows half a second later: half the time that a bench
        # costs, and nothing of it is seen.
        "slews": False,
        "foldback": Uncertain(float(rng.uniform(0.6, 0.95)) if rng.uniform() < 0.2 else 1.0),
        "line_coefficient": times(r.line_coefficient),
    }
    reference = {
        "tempco": either(20e-6 * drift),
        "tail": either(150e-6 * drift),
        "ageing_per_decade": either(40e-6 * drift),
        "flicker": Uncertain(1.2e-6 * spread(rng, 0.3, 3.0)),
        "walk_per_root_hour": Uncertain(10e-6 * drift),
    }
    room = {
        "mean": Uncertain(float(rng.uniform(20.0, 26.0))),
        "daily": times(base.room.daily),
        "heating": times(base.room.heating),
    }
    wiring = {
        "load_leads": Uncertain(spread(rng, 20e-3, 80e-3)),
        "residual": Uncertain(spread(rng, 0.05e-3, 1.5e-3)),
    }
    # Drawn last, so that all before stays as it was.
    reference["flicker_period"] = Uncertain(spread(rng, *FILTERED_S))
    return base.model_copy(
        update={
            "stated": base.stated.model_copy(
                update={
                    "voltage": Uncertain(voltage),
                    "onset_departure": Uncertain(departure),
                    "warm_up": Uncertain(WARM_UP_S),
                    "warm_up_band": Uncertain(band),
                    "soak": Uncertain(SOAK_S),
                }
            ),
            "regulator": r.model_copy(update=regulator),
            "reference": ref.model_copy(update=reference),
            "heat": heat.model_copy(update={"sink_ambient": times(heat.sink_ambient, 0.7, 1.3)}),
            "room": base.room.model_copy(update=room),
            "wiring": base.wiring.model_copy(update=wiring),
        }
    )
