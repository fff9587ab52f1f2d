"""The plan on one screen, and with --steps in full: what a newcomer has to find in it."""

import json
import re
from importlib.resources import files
from pathlib import Path

import pytest
from called import steadyrail

PROFILES = Path(str(files("profiles")))
SCREEN_LINES = 24
"""Of the smallest terminal that is in use; one of them is for the next prompt."""


def said(*words: str, cwd: Path) -> str:
    done = steadyrail("plan", *words, cwd=cwd)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
@pytest.mark.parametrize("width", [80, 120])
def test_a_shipped_plan_fits_on_one_screen(
    profile: str, width: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    lines = said(profile, cwd=tmp_path).splitlines()
    assert len(lines) < SCREEN_LINES
    assert max(map(len, lines)) <= width


def test_the_screen_says_time_hands_guards_and_what_is_left_out(tmp_path: Path) -> None:
    text = " ".join(said("acceptance", cwd=tmp_path).split())
    told = json.loads(said("acceptance", "--json", cwd=tmp_path))
    assert f"About {told['duration_s'] / 60:.0f} min of bench time" in text
    (sweep,) = [one for one in told["trials"] if one["name"] == "limit_sweep"]
    minutes = f"{sweep['duration_s'] / 60:.2g}".replace(".", "[.]")
    assert re.search(rf"limit_sweep {minutes} min 3[.]39 A 99[.]3 W 139 W", text)
    assert "Set the output voltage to 30.000 V." in text
    assert "by the unit's ratings: current.shunt above 4.875 A" in text
    assert "temperature.heatsink above 85 °C or rising more than 8 K/min" in text
    assert "Not in this profile, so not judged: drift." in text


def test_a_limit_that_the_profile_falls_short_of_stands_out_with_the_reason(tmp_path: Path) -> None:
    text = (PROFILES / "overnight.toml").read_text().replace('"8 h"', '"2 h"')
    (tmp_path / "short.toml").write_text(text)
    text = " ".join(said("short.toml", cwd=tmp_path).split())
    assert "Will NOT be covered: drift. The limit is stated for a time of 8 h" in text


def test_a_lower_bound_is_told_though_another_voltage_is_bounded_tighter(tmp_path: Path) -> None:
    text = (PROFILES / "benches" / "simulated.toml").read_text()
    text += '\n[guards."voltage.load"]\nat_least = "-1 V"\n'
    (tmp_path / "bench.toml").write_text(text)
    text = " ".join(said("acceptance", "--bench", "bench.toml", cwd=tmp_path).split())
    assert "voltage.sense above 35 V" in text
    assert "voltage.load below −1 V" in text


def test_every_step_has_its_units(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    text = said("acceptance", "--steps", cwd=tmp_path)
    steps = re.findall(r"^\d:\d\d:\d\d +(?:[\d.]+ (?:s|min))? *(.*)$", text, re.MULTILINE)
    assert len(steps) > 150
    for step in steps:
        assert re.search(r" [\d.]+ m?A +[\d.]+ m?W +[\d.]+ m?W *$", step), step
        assert not re.search(r"load (draws|holds) (?![\d.]+ m?[AV] )", step), step
    assert "load holds 29.9972 V" in text
