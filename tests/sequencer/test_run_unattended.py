"""Leaving a run alone: refused for everything that is missing, before anything is energised."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from called import steadyrail

from sequencer.command_line.left_alone import reasons_against
from sequencer.documents.load import Documents, documents_from, load_profile
from sequencer.documents.source import Source
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


def with_guards(documents: Documents, **bounds: str) -> Documents:
    given = {name.replace("_", "."): bound for name, bound in bounds.items()}
    tables = "".join(f'\n[guards."{n}"]\nat_most = "{b}"\n' for n, b in given.items())
    text = documents.profile_source.text.replace('[guards."time.on"]\nat_most = "10 h"\n', "")
    profile = Source(documents.profile_source.path, text + tables)
    return documents_from(documents.unit_source, documents.bench_source, profile)


def test_a_bound_that_nothing_ever_reaches_is_no_guard(overnight: Documents) -> None:
    assert against(with_guards(overnight, time_on="17 h")) == ""
    said = against(with_guards(overnight, time_on="1e9 h"))
    assert "time.on is bounded at 1e+09 h, which a run of" in said
    hot = overnight.bench.guards["temperature.heatsink"].model_copy(update={"at_most": 1e30})
    guards = {**overnight.bench.guards, "temperature.heatsink": hot}
    bench = overnight.bench.model_copy(update={"guards": guards})
    said = against(replace(overnight, bench=bench))
    assert "no guard watches a temperature with a bound at 150 °C or below" in said
    assert "its guard comes too late" in said


def test_an_output_can_not_fall_by_more_than_it_gives(overnight: Documents) -> None:
    deep = overnight.profile.guards["departure.voltage"].model_copy(update={"at_least": -1e3})
    guards = {**overnight.profile.guards, "departure.voltage": deep}
    profile = overnight.profile.model_copy(update={"guards": guards})
    assert "by which no output" in against(replace(overnight, profile=profile))


@pytest.mark.parametrize("address", ["json://127.0.0.1:9/", "no-such-way://somewhere"])
def test_it_does_not_start_where_nobody_can_be_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    monkeypatch.setenv(VARIABLE, address)
    done = steadyrail("run", "overnight", "--unattended", cwd=tmp_path)
    assert done.returncode == 2
    assert "Nothing was energised" in done.stderr
    assert "nobody would be notified (about to start: " in done.stderr
    assert address not in done.stderr
    assert not list(tmp_path.iterdir())
