"""A load that lacks what a trial needs is found before anything is opened."""

from pathlib import Path

import pytest

import profiles
from sequencer.command_line.documents import load_checked
from sequencer.errors import DocumentError

BENCH = Path(profiles.__file__).parent / "benches" / "simulated.toml"
DIALECT = """
description = "A load that holds no voltage."
roles = ["load"]
inherits = "scpi-load"
without = ["settings.level_voltage"]
"""
PROFILE = """
[profile]
name = "one trial"
description = "One trial."
unit = "w-17"
bench = "bench.toml"

[[trials]]
trial = "{trial}"
voltage = "30 V"
{more}
"""


def written(folder: Path, trial: str, more: str = "") -> str:
    (folder / "plain-load.toml").write_text(DIALECT, encoding="utf-8")
    text = BENCH.read_text(encoding="utf-8")
    assert '"scpi-load"' in text
    (folder / "bench.toml").write_text(text.replace('"scpi-load"', '"plain-load.toml"'))
    (folder / "profile.toml").write_text(PROFILE.format(trial=trial, more=more), encoding="utf-8")
    return str(folder / "profile.toml")


def test_a_sweep_with_a_load_that_holds_no_voltage_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DocumentError) as refused:
        load_checked(written(tmp_path, "limit_sweep"), unit=None, bench=None)
    (mistake,) = refused.value.mistakes
    assert mistake.key_path == "instruments.load.dialect"
    assert "no level of constant voltage" in mistake.found
    assert "leave out the trials that use it" in mistake.expected


def test_load_steps_do_not_ask_for_it(tmp_path: Path) -> None:
    profile = written(tmp_path, "load_steps", 'current = "3 A"')
    assert load_checked(profile, unit=None, bench=None).profile.trials[0].trial == "load_steps"
