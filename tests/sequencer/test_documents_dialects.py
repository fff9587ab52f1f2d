"""Dialects that a bench names are looked at with the documents, before anything is opened."""

import json
from pathlib import Path

import pytest
from called import steadyrail

SHIPPED = Path(__file__).parents[2] / "profiles/benches/simulated.toml"


def bench_with(folder: Path, dialect: str, own: str = "") -> None:
    text = SHIPPED.read_text().replace('dialect = "scpi-load"', f'dialect = "{dialect}"')
    (folder / "bench.toml").write_text(text)
    (folder / "mine.toml").write_text(own)


@pytest.mark.parametrize(
    ("dialect", "own", "said"),
    [
        ("scpi-laod", "", "no dialect 'scpi-laod' was found"),
        ("scpi-voltmeter", "", "is for voltmeter, not for 'load'"),
        ("mine.toml", "nonsense", "can't be read"),
        ("mine.toml", 'inherits = "scpi-load"\ncolour = 1\n', "colour: Extra inputs"),
        ("mine.toml", 'inherits = "scpi-load"\nwithout = ["questions.current"]\n', "no question"),
        ("mine.toml", 'inherits = "scpi-load"\nwithout = ["settings.mode"]\n', "needs settings"),
    ],
)
def test_a_dialect_that_does_not_fit_is_found_by_check_plan_and_run(
    tmp_path: Path, dialect: str, own: str, said: str
) -> None:
    bench_with(tmp_path, dialect, own)
    words = (
        ("check", "bench.toml"),
        ("plan", "acceptance", "--bench", "bench.toml"),
        ("run", "acceptance", "--bench", "bench.toml"),
    )
    for command in words:
        done = steadyrail(*command, cwd=tmp_path)
        text = done.stdout + done.stderr
        assert done.returncode == 2
        assert "instruments.load.dialect: found a dialect that does not fit" in text
        assert said in text
        assert "Traceback" not in text
    assert not list(tmp_path.glob("*.sqlite"))


def test_a_dialect_beside_the_bench_is_found_from_anywhere(tmp_path: Path) -> None:
    folder = tmp_path / "table"
    folder.mkdir()
    bench_with(folder, "mine.toml", 'inherits = "scpi-load"\n')
    assert steadyrail("check", "table/bench.toml", cwd=tmp_path).returncode == 0


def test_a_dialect_file_is_checked_by_itself_and_has_a_schema(tmp_path: Path) -> None:
    (tmp_path / "good.toml").write_text('inherits = "scpi-load"\n')
    (tmp_path / "bad.toml").write_text('inherits = "scpi-load"\n[settings.mode]\nwrite = "X"\n')
    assert steadyrail("check", "good.toml", cwd=tmp_path).returncode == 0
    done = steadyrail("check", "good.toml", "bad.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "settings.mode: Value error, 'write' must hold {value}" in done.stdout
    schema = json.loads(steadyrail("check", "--schema", "dialect", cwd=tmp_path).stdout)
    assert {"inherits", "without", "roles", "questions", "settings"} <= set(schema["properties"])
    assert schema["additionalProperties"] is False
