"""The rectifier against ngspice's transient solution of a bridge with a reservoir.

The outside number is ngspice's (Debian's package): a sine of 43.8 V peak behind 0.2 Ω, four diodes,
constant current. The model gets the netlist's values; nothing is fitted.
"""

import re
import shutil
import subprocess
from math import log, sqrt
from pathlib import Path
from typing import NamedTuple

import pytest

from simulated_bench.rectifier import Rectifier, Winding

pytestmark = [
    pytest.mark.external,
    pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs Debian's ngspice"),
]

NETLIST = """bridge
V1 a b SIN(0 {volts} 50)
Rs a c 0.2
Rg1 a 0 1meg
Rg2 b 0 1meg
D1 c p dd
D2 b p dd
D3 0 c dd
{fourth}
C1 p 0 {farads} IC=40
I1 p 0 {current}
.model dd D(IS=1e-9 N=1.6 RS=2m CJO=100p)
.options method=gear reltol=1e-4
.tran 20u 0.6 0.5 20u uic
.meas tran vmin MIN v(p) from=0.5 to=0.6
.meas tran vmax MAX v(p) from=0.5 to=0.6
.meas tran vavg AVG v(p) from=0.5 to=0.6
.end
"""
MEASURED = re.compile(r"^(vmin|vmax|vavg)\s*=\s*(\S+)", re.MULTILINE)


class Reservoir(NamedTuple):
    """What ngspice says, in volts."""

    valley: float
    peak: float
    mean: float


def ngspice(
    folder: Path,
    current: float,
    *,
    half_wave: bool = False,
    farads: float = 0.01,
    volts: float = 43.8,
) -> Reservoir:
    path = folder / "bridge.cir"
    fourth = "" if half_wave else "D4 0 b dd"
    path.write_text(
        NETLIST.format(current=current, fourth=fourth, farads=farads, volts=volts).replace(
            "\n\n", "\n"
        )
    )
    done = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    found = {name: float(value) for name, value in MEASURED.findall(done.stdout)}
    return Reservoir(found["vmin"], found["vmax"], found["vavg"])


DIODE_V = 1.6 * 0.025852 * log(1e9)
"""The netlist's diode at 1 A, without its 2 mΩ."""
EMF_V = 43.8


def model(
    current: float, *, half_wave: bool = False, farads: float = 0.01, line_ratio: float = 1.0
) -> Reservoir:
    """The bench's model of the netlist."""
    rectifier = Rectifier(DIODE_V, farads, 50.0, half_wave)
    winding = Winding("w", 30.0, EMF_V / sqrt(2.0), 0.2 + 2 * 0.002)
    sag = rectifier.sag(winding).at(current / line_ratio)
    valley = rectifier.peak(winding, line_ratio) - line_ratio * sag.valley_v
    ripple = line_ratio * sag.ripple_v
    return Reservoir(valley, valley + ripple, valley + 0.5 * ripple)


@pytest.mark.parametrize(
    ("current", "farads", "half_wave", "within", "mean_within"),
    [
        # Found: valley 3 to 25 mV, mean 4 to 31 mV off.
        (0.01, 0.01, False, 0.03, 0.04),
        (0.1, 0.01, False, 0.03, 0.04),
        (1.0, 0.01, False, 0.03, 0.04),
        (3.0, 0.01, False, 0.03, 0.04),
        # Half wave: valley 22 to 39 mV, mean 22 to 88 mV.
        (1.0, 0.01, True, 0.03, 0.04),
        (3.0, 0.01, True, 0.03, 0.05),
        (3.0, 0.006, True, 0.05, 0.1),
        # A dried-out reservoir, 9 V of ripple: valley 73 mV; its mean is no longer half way up.
        (1.0, 0.0024, False, 0.06, 0.1),
        (3.0, 0.0024, False, 0.08, 0.3),
    ],
)
def test_valley_crest_and_mean_agree_with_ngspice(
    tmp_path: Path, current: float, farads: float, within: float, mean_within: float,
    *, half_wave: bool,
) -> None:  # fmt: skip
    outside = ngspice(tmp_path, current, half_wave=half_wave, farads=farads)
    found = model(current, half_wave=half_wave, farads=farads)
    assert found.valley == pytest.approx(outside.valley, abs=within)
    assert found.peak == pytest.approx(outside.peak, abs=0.02)  # found 5 to 17 mV
    assert found.mean == pytest.approx(outside.mean, abs=mean_within)


@pytest.mark.parametrize("line_ratio", [0.85, 1.15])
def test_another_line_voltage_scales_the_table(tmp_path: Path, line_ratio: float) -> None:
    # Found 9 and 42 mV.
    outside = ngspice(tmp_path, 3.0, volts=line_ratio * EMF_V)
    assert model(3.0, line_ratio=line_ratio).valley == pytest.approx(outside.valley, abs=0.05)


@pytest.mark.parametrize("half_wave", [False, True])
def test_true_ripple_is_some_tenths_below_the_first_order(
    tmp_path: Path, *, half_wave: bool
) -> None:
    # I/(2fC) full wave, I/(fC) half wave (textbooks): the outside's and ours are 0.7 to 0.9 of it.
    first_order = 3.0 / (50.0 * 0.01 * (1 if half_wave else 2))
    for one in (ngspice(tmp_path, 3.0, half_wave=half_wave), model(3.0, half_wave=half_wave)):
        assert 0.7 < (one.peak - one.valley) / first_order < 0.9
