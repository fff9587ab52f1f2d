"""An instrument doesn't answer at the start: what was on before is switched off all the same."""

import re
from pathlib import Path

import pytest
from bench_apart import Apart, apart


def silenced(table: Apart, instrument: str) -> None:
    """Let the bench document name a port at which nobody answers."""
    place = table.folder / "bench.toml"
    given = table.addresses[instrument]
    port = given.split("::")[2]
    place.write_text(place.read_text().replace(given, re.sub(rf"::{port}::", "::9::", given)))


def energised(table: Apart) -> None:
    for sentence in ("Switch the output on.", "Set the output voltage to 30.000 V."):
        table.ask("person", f'OPERator:INSTruct "{sentence}";STATe?')
        table.ask("clock", "CLOCk:ADVance 60;TIME?")
    assert table.ask("load", "CURRent 1;INPut ON;INPut?") == "1"
    table.ask("clock", "CLOCk:ADVance 5;TIME?")
    assert not table.without_energy()


@pytest.mark.parametrize("lost", ["thermometer", "voltmeter_load"])
def test_a_load_that_was_on_before_is_switched_off(tmp_path: Path, lost: str) -> None:
    with apart(tmp_path) as table:
        energised(table)
        silenced(table, lost)
        code, _ = table.finish("run", "profile.toml", "--record", "run.sqlite", "--cautions-read")
        said = table.errors()
        assert code == 5, said
        assert table.without_energy(), table.energy()
        assert lost in said
        assert (
            "Nothing was energised by it, but the load or the unit may have been on before" in said
        )
        assert "Traceback" not in said
        assert not (tmp_path / "run.sqlite").exists()


def test_a_load_that_does_not_answer_is_named_loudly(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        energised(table)
        silenced(table, "load")
        code, _ = table.finish("run", "profile.toml", "--record", "run.sqlite", "--cautions-read")
        said = table.errors()
        assert code == 5, said
        assert "NOT VERIFIED" in said
        assert "load off: nothing that was reached can switch it off" in said
        assert "load at TCPIP0" in said
        assert "Switch the unit off at the line yourself" in said
        assert abs(table.energy()[1]) < 2.0  # the output was switched off all the same
