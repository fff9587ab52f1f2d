"""A discrete series regulator solved by ngspice, and the bench's regulator model fitted to it.

``python tests/external/series_regulator.py`` (from the project's folder, with ``PYTHONPATH=.``)
draws both characteristics and what lies between them into characteristic.png beside this file.
"""

import subprocess
import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from simulated_bench.load import LoadParts, LoadSetting
from simulated_bench.operating_point import Circuit, solve
from simulated_bench.sense import SenseSide, pair

Array = NDArray[np.float64]

HERE = Path(__file__).parent
NETLIST = HERE / "series_regulator.cir"
PICTURE = HERE / "characteristic.png"

UNREGULATED_V, SOURCE_OHM, SHUNT_OHM, DIVIDER = 42.0, 0.8, 0.2, 500 / 2400
"""As in the netlist."""
THERMAL_V = 1.380649e-23 * 300.15 / 1.602176634e-19
"""kT/q at the netlist's 27 °C, exact constants of the SI."""

ROUNDING_V = 0.01
"""Where the exponential is counted from: a convention, as only ``v_w·exp(−I_L/i_w)`` counts."""

FLAT_UP_TO_A = 2.4
"""80 % of 3 A, where the truth's constant-voltage line ends."""
FLAT_WEIGHT = 5.0
"""The flat part is looked at in parts of a millivolt, the limit in milliamperes."""

REGULATED_FROM_V = 37.0
"""Above this the circuit regulates at 3 A."""

_WIRE = SenseSide(0.0, 0.0, 0.0, 1e-9, 50.0, 0.0, 1e-9)
_LOAD = LoadParts(on_resistance_ohm=1e-6, voltage_mode_ohm=1.0, greatest_current_a=1e3)


@dataclass(frozen=True)
class Sweep:
    """One sweep: what was swept, and output voltage and current."""

    swept: Array
    voltage: Array
    current: Array


@dataclass(frozen=True)
class Fitted:
    """The model's parameters, SI."""

    v_cv: float
    output_ohm: float
    limit_a: float
    rounding_a: float
    conductance_s: float
    span_v: float
    saturation_v: float = 3.0
    saturation_ohm: float = 0.0
    per_unregulated: float = 0.0

    def at(self, line_v: float) -> tuple[float, float]:
        """Return voltage and current on the load line of a source behind one ohm."""
        return self._point(LoadSetting("voltage", line_v, on=True), UNREGULATED_V)

    def falling(self, sweep: Sweep, load_ohm: float) -> Array:
        """Return the voltages over a resistor at a sweep's unregulated voltages."""
        load = LoadSetting("resistance", load_ohm, on=True)
        return np.array([self._point(load, float(volts))[0] for volts in sweep.swept])

    def _point(self, load: LoadSetting, unregulated_v: float) -> tuple[float, float]:
        point = solve(
            Circuit(
                v_cv=self.v_cv + self.per_unregulated * (unregulated_v - UNREGULATED_V),
                output_ohm=self.output_ohm,
                limit_a=self.limit_a + self.conductance_s * self.v_cv,
                limit_per_v=-self.conductance_s,
                rounding_v=ROUNDING_V,
                rounding_a=self.rounding_a,
                peak_v=unregulated_v,
                source_ohm=SOURCE_OHM,
                ripple_ohm=1e-6,
                saturation_v=self.saturation_v,
                saturation_ohm=self.saturation_ohm,
                idle_a=0.0,
                leakage_a=0.0,
                bleeder_ohm=1e9,
                pair=pair(_WIRE, _WIRE),
                plus_lead_ohm=1e-9,
                minus_lead_ohm=1e-9,
                reverse_s=0.0,
                sense_a=0.0,
                residual_ohm=0.0,
                load=load,
                load_parts=_LOAD,
                drive_span_v=self.span_v,
            )
        )
        return point.terminals_v, point.load_a

    def on(self, sweep: Sweep) -> tuple[Array, Array]:
        """Return voltages and currents on a sweep's load lines."""
        found = np.array([self.at(float(line_v)) for line_v in sweep.swept])
        return found[:, 0], found[:, 1]


@cache
def characteristic() -> Sweep:
    """Return the whole characteristic from no load to near short, fine around the corner."""
    parts = [
        _ngspice("dc VL 32 29 -0.05"),
        _ngspice("dc VL 29 24 -0.025"),
        _ngspice("dc VL 24 -3 -0.25"),
    ]
    every = np.vstack(parts)
    kept = every[(every[:, 2] > 0.0) & (every[:, 1] > 0.5)]
    return Sweep(kept[:, 0], kept[:, 1], kept[:, 2])


@cache
def dropout(load_ohm: float) -> Sweep:
    """Return the output into a resistor against a falling unregulated voltage."""
    rows = _ngspice(f"alter RL = {load_ohm}", "dc VU 46 20 -0.1")
    return Sweep(rows[:, 0], rows[:, 1], rows[:, 2])


@cache
def fitted(*, with_span: bool) -> Fitted:
    """Fit the model to the characteristic; without span the exponential goes all the way."""
    outside = characteristic()
    weight = np.where(outside.current < FLAT_UP_TO_A, FLAT_WEIGHT, 1.0)
    scale = np.array([0.01, 1e-3, 0.1, 0.02, 1e-3, 0.05])
    start = np.array([29.98, 2e-3, 3.1, THERMAL_V / SHUNT_OHM, 1e-3, 2 * THERMAL_V / DIVIDER])
    if not with_span:
        scale, start = scale[:-1], np.array([29.98, 2e-3, 3.4, 0.03, 0.0])

    def departures(values: Array) -> Array:
        model = Fitted(*values) if with_span else Fitted(*values, span_v=0.0)
        volts, _ = model.on(outside)
        return weight * (volts - outside.voltage)

    found = least_squares(departures, start, x_scale=scale, diff_step=1e-5).x
    return Fitted(*found) if with_span else Fitted(*found, span_v=0.0)


@cache
def with_dropout() -> Fitted:
    """Fit the saturation to the dropout into 10 Ω and 100 Ω; the rest stays as it was."""
    flat, light, heavy = fitted(with_span=True), dropout(100.0), dropout(10.0)
    regulated = heavy.swept > REGULATED_FROM_V
    per_unregulated = np.polyfit(heavy.swept[regulated], heavy.voltage[regulated], 1)[0]
    flat = replace(flat, per_unregulated=float(per_unregulated))

    def departures(values: Array) -> Array:
        model = replace(flat, saturation_v=values[0], saturation_ohm=values[1])
        return np.concatenate(
            [
                model.falling(light, 100.0) - light.voltage,
                model.falling(heavy, 10.0) - heavy.voltage,
            ]
        )

    found = least_squares(departures, np.array([2.5, 0.2]), diff_step=1e-5).x
    return replace(flat, saturation_v=float(found[0]), saturation_ohm=float(found[1]))


def _ngspice(*commands: str) -> Array:
    with tempfile.TemporaryDirectory() as folder:
        netlist, out = Path(folder) / "regulator.cir", Path(folder) / "out.txt"
        control = ["set numdgt=12", *commands, f"wrdata {out} v(out) i(VL)", "quit"]
        text = "\n".join([".control", *control, ".endc", ".end", ""])
        netlist.write_text(NETLIST.read_text().replace(".end\n", text))
        subprocess.run(
            ["ngspice", "-b", str(netlist)], capture_output=True, timeout=60, check=False
        )
        # Each vector comes with its own copy of what was swept.
        return np.loadtxt(out)[:, [0, 1, 3]]


def draw(path: Path = PICTURE) -> None:
    """Draw the characteristic, its corner, and the model's departure."""
    from matplotlib.figure import Figure  # noqa: PLC0415  only the picture needs it

    outside, model = characteristic(), fitted(with_span=True)
    volts, amperes = model.on(outside)
    plain, _ = fitted(with_span=False).on(outside)
    figure = Figure(figsize=(8, 6), layout="constrained")
    axes = figure.subplot_mosaic([["whole", "corner"], ["apart", "apart"]])
    whole, corner, apart = axes["whole"], axes["corner"], axes["apart"]
    for one in (whole, corner):
        one.plot(outside.current, outside.voltage, color="0.7", linewidth=5, label="ngspice")
        one.plot(amperes, volts, color="tab:blue", linewidth=1, label="model")
        one.set(xlabel="current in A", ylabel="voltage in V")
    whole.set(title="whole characteristic", xlim=(0, None), ylim=(0, None))
    corner.set(title="corner", xlim=(2.2, 3.6), ylim=(29.2, 30.02))
    whole.legend()
    along = outside.voltage[0] - outside.swept
    apart.plot(along, 1e3 * (plain - outside.voltage), color="0.7", label="without drive span")
    apart.plot(along, 1e3 * (volts - outside.voltage), color="tab:blue", label="with drive span")
    apart.set(
        title="model minus ngspice along load lines of 1 Ω",
        xlabel="open-circuit voltage minus the load line's source in V",
        ylabel="difference in mV and −mA",
        xlim=(0, 6),
    )
    apart.legend()
    figure.savefig(path, dpi=75, metadata={"Software": None})


if __name__ == "__main__":
    draw()
