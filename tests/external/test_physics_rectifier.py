"""The rectifier against ngspice's transient solution of a bridge with a reservoir.

The outside number is ngspice's (Debian's package): a sine of 43.8 V peak behind 0.2 Ω, four diodes,
10 000 µF, constant current. The model's source resistance is fitted once, to the mean at 3 A.
"""

import re
import shutil
import subprocess
from pathlib import Path
from typing import NamedTuple

import pytest

from simulated_bench.rectifier import (
    RIPPLE_PART_FULL_WAVE,
    RIPPLE_PART_HALF_WAVE,
    Rectifier,
    Winding,
)

pytestmark = [
    pytest.mark.external,
    pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs Debian's ngspice"),
]

NETLIST = """bridge
V1 a b SIN(0 43.8 50)
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
    folder: Path, current: float, *, half_wave: bool = False, farads: float = 0.01
) -> Reservoir:
    path = folder / "bridge.cir"
    fourth = "" if half_wave else "D4 0 b dd"
    path.write_text(
        NETLIST.format(current=current, fourth=fourth, farads=farads).replace("\n\n", "\n")
    )
    done = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    found = {name: float(value) for name, value in MEASURED.findall(done.stdout)}
    return Reservoir(found["vmin"], found["vmax"], found["vavg"])


def model(
    current: float, *, half_wave: bool = False, farads: float = 0.01, part: float = 1.0
) -> Reservoir:
    """The model with the peak of the unloaded bridge and the fitted 0.78 Ω (0.2 Ω winding)."""
    rectifier = Rectifier(0.0, farads, 50.0, half_wave, part)
    winding = Winding("w", 30.0, 42.06 / 2**0.5, 0.78)
    valley = (
        rectifier.peak(winding, 1.0)
        - current * rectifier.source_ohm(winding)
        - current * rectifier.ripple_ohm
    )
    ripple = current * rectifier.ripple_ohm
    return Reservoir(valley, valley + ripple, valley + 0.5 * ripple)


@pytest.mark.parametrize("current", [1.0, 2.0, 3.0])
def test_mean_and_valley_in_full_wave(tmp_path: Path, current: float) -> None:
    outside, found = ngspice(tmp_path, current), model(current)
    assert found.mean == pytest.approx(outside.mean, abs=0.7)  # found 0.57 V at 1 A, 0.02 at 3 A
    assert found.valley == pytest.approx(outside.valley, abs=0.5)  # found 0.48 V at 1 A


@pytest.mark.parametrize("current", [1.0, 2.0, 3.0])
def test_mean_and_valley_in_half_wave(tmp_path: Path, current: float) -> None:
    outside, found = ngspice(tmp_path, current, half_wave=True), model(current, half_wave=True)
    assert found.mean == pytest.approx(outside.mean, abs=0.9)  # found 0.86 V at 1 A, 0.04 at 3 A
    assert found.valley == pytest.approx(outside.valley, abs=0.9)  # found 0.75 V at 1 A


@pytest.mark.parametrize("half_wave", [False, True])
def test_true_ripple_is_seven_to_nine_tenths_of_the_first_order(
    tmp_path: Path, *, half_wave: bool
) -> None:
    outside = ngspice(tmp_path, 3.0, half_wave=half_wave)
    ratio = (outside.peak - outside.valley) / (
        3.0 * Rectifier(0.0, 0.01, 50.0, half_wave=half_wave).ripple_ohm
    )
    assert 0.7 < ratio < 0.9


@pytest.mark.parametrize(
    ("farads", "half_wave", "first_order_off", "off"),
    [
        (2.4e-3, False, 4.68, 1.43),  # dried-out-reservoir
        (6.0e-3, True, 2.17, 0.47),  # dead-diode
        (7.0e-3, False, 1.04, 0.08),
    ],
)
def test_the_part_of_the_ripple_brings_the_valley_near_where_it_reaches_the_output(
    tmp_path: Path, farads: float, first_order_off: float, off: float, *, half_wave: bool
) -> None:
    outside = ngspice(tmp_path, 3.0, half_wave=half_wave, farads=farads)
    first = model(3.0, half_wave=half_wave, farads=farads)
    part = RIPPLE_PART_HALF_WAVE if half_wave else RIPPLE_PART_FULL_WAVE
    found = model(3.0, half_wave=half_wave, farads=farads, part=part)
    assert outside.valley - first.valley == pytest.approx(first_order_off, abs=0.05)
    assert abs(outside.valley - found.valley) == pytest.approx(off, abs=0.05)
