"""Leaving a run alone: refused for everything that is missing, before anything is energised."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from called import steadyrail

from sequencer.command_line.left_alone import reasons_against
from sequencer.documents.load import Documents, load_profile
from sequencer.planning import make_plan
from sequencer.run.notify import VARIABLE

SHIPPED = Path(str(files("profiles")))
ADDRESS = {VARIABLE: "json://127.0.0.1:9/"}


def against(documents: Documents, environment: dict[str, str] = ADDRESS) -> str:
    return "; ".join(reasons_against(documents, make_plan(documents), environment))


@pytest.fixture(scope="module")
def overnight() -> Documents:
    return load_profile("overnight")


def test_the_shipped_night_can_be_left_alone_once_somebody_is_notified(
    overnight: Documents,
) -> None:
    assert against(overnight) == ""
    assert "nobody would be notified" in against(overnight, {})


def test_a_missing_guard_or_safety_input_is_named(tmp_path: Path) -> None:
    text = (SHIPPED / "overnight.toml").read_text()
    profile = tmp_path / "night.toml"
    profile.write_text(
        text.replace(
            'guards = ["temperature.heatsink"',
            'interlocks = ["interlock.smoke"]\nguards = ["power.load", "temperature.ambient"',
        )
    )
    said = against(load_profile(str(profile)))
    assert "only ratings bound power.load" in said
    assert "no guard watches temperature.ambient" in said
    assert "no safety input interlock.smoke" in said


def test_a_soak_without_a_temperature_guard_or_a_table_of_demands_is_refused(
    overnight: Documents,
) -> None:
    bench = overnight.bench.model_copy(update={"guards": {}})
    bare = overnight.profile.model_copy(update={"unattended": None})
    said = against(replace(overnight, bench=bench, profile=bare))
    assert "no guard watches a temperature" in said
    assert "no [unattended] table" in said


def test_a_person_who_would_be_needed_is_a_reason(overnight: Documents) -> None:
    table = overnight.bench.bench.model_copy(update={"operator": "terminal"})
    by_hand = replace(overnight, bench=overnight.bench.model_copy(update={"bench": table}))
    assert "making safe needs a hand" in against(by_hand)


def test_run_refuses_plan_and_check_say_so_before(tmp_path: Path) -> None:
    done = steadyrail("run", "acceptance", "--unattended", cwd=tmp_path)
    assert done.returncode == 2
    assert "Nothing was energised" in done.stderr
    assert not list(tmp_path.iterdir())
    assert "would be refused" in steadyrail("plan", "acceptance", cwd=tmp_path).stdout
    assert "with --unattended" in steadyrail("check", "overnight", cwd=tmp_path).stdout
