"""Every effect can be switched off by the scenario, and shows in a figure when it is on."""

import tomllib
from functools import cache
from typing import Any

import pytest

from simulated_bench.scenario import FOLDER, load
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth import truth

LIVED = {"warm_up": "10 min", "soak": "1 h"}
AT_ONCE = {"warm_up": "2 min", "soak": "2 min"}
"""The figures that need no soak get none, as it is what costs time."""

EFFECTS: tuple[tuple[str, str, str, str, str, float], ...] = (
    # table, key, off, on, figure, least change of the figure (SI)
    ("line", "wander", "0 %", "3 %", "drift_span", 2e-5),
    ("windings", "source_resistance", "0.05 Ω", "0.5 Ω", "dropout_line_voltage", 5.0),
    ("rectifier", "capacitance", "0.1 F", "3000 µF", "pard_twice_line", 5e-5),
    ("rectifier", "half_wave", "", "yes", "pard_line", 1e-5),
    ("rectifier", "diode_drop", "0 V", "1.5 V", "dropout_line_voltage", 0.2),
    ("reference", "tempco", "0 ppm/K", "50 ppm/K", "temperature_coefficient", 1e-3),
    ("reference", "tail", "0 ppm", "500 ppm", "warm_up_time", 60.0),
    ("reference", "flicker", "0 ppm", "5 ppm", "drift_span", 5e-5),
    ("reference", "walk_per_root_hour", "0 ppm", "100 ppm", "drift_span", 5e-4),
    ("reference", "ageing_per_decade", "0 ppm", "-500 ppm", "drift_rate", 1e-7),
    ("reference", "leak", "0 ppm", "500 ppm", "drift_rate", 1e-7),
    ("setting", "jump", "0 V", "50 mV", "drift_span", 1e-2),
    ("regulator", "output_resistance", "0 mΩ", "3 mΩ", "output_resistance", 2.9e-3),
    ("regulator", "limit_conductance", "0 mS", "2 mS", "limit_change", 0.03),
    ("regulator", "limit_tempco", "0 %/K", "-1 %/K", "limit_current", 0.05),
    ("regulator", "foldback", "1", "0.4", "foldback_ratio", -0.5),
    ("regulator", "rounding_current", "1 mA", "50 mA", "knee_sharpness", -0.05),
    ("regulator", "drive_span", "", "0.2 V", "knee_current", -0.01),
    ("regulator", "saturation", "0 V", "3 V", "dropout_line_voltage", 5.0),
    ("regulator", "saturation_resistance", "0 Ω", "1 Ω", "dropout_line_voltage", 5.0),
    ("regulator", "line_coefficient", "0 V/V", "100 µV/V", "line_regulation", 2e-3),
    ("regulator", "ripple_rejection", "0 ppm", "500 ppm", "pard_twice_line", 2e-4),
    ("regulator", "noise", "0 V", "1 mV", "pard_rms", 5e-4),
    ("regulator", "oscillation", "0 V", "0.2 V", "pard_peak_to_peak", 0.1),
    ("regulator", "oscillation_shift", "0 V", "0.1 V", "load_regulation", 0.02),
    ("regulator", "bleeder", "100 Ω", "10 kΩ", "discharge_time_constant", 3.0),
    ("regulator", "loop_inductance", "0.01 µH", "5 µH", "recovery_time", 1e-5),
    ("regulator", "output_capacitor_resistance", "1 mΩ", "0.2 Ω", "step_dip", 5e-3),
    ("sense", "fallback", "1000 kΩ", "1 kΩ", "output_resistance", 3e-3),
    ("sense", "compensable", "10 V", "20 mV", "load_regulation", 0.05),
    ("wiring", "sense", "connected", "open", "load_regulation", 0.05),
    ("wiring", "load_leads", "1 mΩ", "100 mΩ", "lead_drop", 0.2),
    ("wiring", "residual", "0 mΩ", "5 mΩ", "sense_error", 14e-3),
    ("heat", "reference_fraction", "0", "0.5", "thermal_tail", 1e-4),
    ("heat", "sink_ambient", "0.01 K/W", "2 K/W", "thermal_tail", 1e-4),
    ("room", "daily", "0 K", "20 K", "drift_span", 1e-3),
    ("room", "heating", "0 K", "5 K", "drift_span", 5e-4),
    ("room", "wander", "0 K", "5 K", "drift_span", 5e-4),
)
"""Off leaves the figure where it would be without the effect, on moves it at least so far."""

BESIDE: dict[str, dict[str, str]] = {
    # What an effect needs to be seen at all.
    "leak": {"leak_time": "1 h"},
    "jump": {"jump_rate": "20 1/h"},
    "oscillation": {"oscillation_from": "1 A"},
    "oscillation_shift": {"oscillation_from": "1 A"},
}


def unit(table: str, key: str, text: str, figure: str = "") -> Scenario:
    """Return the healthy unit with one value of its own."""
    document = _healthy()
    lives = figure.startswith(("drift", "warm"))
    stated = {**document["stated"], **(LIVED if lives else AT_ONCE), "warm_up_band": "0.5 mV"}
    if key == "daily":
        stated["soak"] = "2 h"  # a day's curve is slow
    changed = {**document, "stated": stated}
    values = {**BESIDE.get(key, {}), **({key: text} if text else {})}
    if key == "half_wave":
        values = {key: text == "yes"} if text else {key: False}
    if table == "windings":
        changed[table] = [{**winding, **values} for winding in document[table]]
    else:
        changed[table] = {**document[table], **values}
    return Scenario.model_validate(changed)


@cache
def _healthy() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "healthy.toml").read_text())


@pytest.mark.parametrize(
    ("table", "key", "off", "on", "figure", "least"),
    EFFECTS,
    ids=[f"{e[0]}.{e[1]}" for e in EFFECTS],
)
def test_an_effect_shows_in_its_figure(
    table: str, key: str, off: str, on: str, figure: str, least: float
) -> None:
    without, with_it = (
        truth(unit(table, key, text, figure), 1).get(figure, 0.0) for text in (off, on)
    )
    change = with_it - without
    if least < 0.0:
        assert change < least
    else:
        assert abs(change) > least


def test_the_healthy_scenario_is_what_is_changed_here() -> None:
    assert unit("room", "daily", "2 K ± 20 %").regulator == load("healthy").regulator
