"""Each scenario whose instruments speak other dialects has a shipped bench that understands them.

All of them through a run takes minutes::

    pytest tests/sequencer/test_whole_dialects.py -m slow
"""

import json
import tomllib
from pathlib import Path

import pytest
from called import steadyrail

from drivers.connect import connect
from sequencer.documents.find import shipped
from sequencer.documents.load import load_profile
from sequencer.run.simulation import simulation
from sequencer.run.spec import bench_spec

SCENARIOS = Path(__file__).parents[2] / "simulated_bench" / "scenarios"
SPOKEN = sorted(path.stem for path in SCENARIOS.glob("dialect*.toml"))
OWN = ("name", "description")

RUN = """
[profile]
name = "quick"
unit = "w-17"
bench = "{bench}"

[outputs]
report = false

[[trials]]
trial = "sense_check"
voltage = "30 V"
current = "3 A"
fractions = ["50 %", "100 %"]
repeats = 2
readings = 2
"""


def bench_of(scenario: str) -> str:
    return "simulated-" + scenario.removeprefix("dialect-")


def test_every_such_scenario_has_its_bench() -> None:
    assert len(SPOKEN) >= 5
    assert {bench_of(scenario) for scenario in SPOKEN} <= shipped("bench").keys()


@pytest.mark.parametrize("scenario", SPOKEN)
def test_the_bench_is_the_simulated_one_but_for_what_is_spoken(scenario: str) -> None:
    documents = [
        tomllib.loads(shipped("bench")[name].read_text())
        for name in ("simulated", bench_of(scenario))
    ]
    assert documents[1]["simulation"]["scenario"] == scenario
    for document in documents:
        del document["simulation"]
        for key in OWN:
            del document["bench"][key]
        for one in document["instruments"].values():
            del one["dialect"]
            one.pop("link", None)
    assert documents[0] == documents[1]


@pytest.mark.parametrize("scenario", SPOKEN)
def test_everything_on_it_is_read_set_and_read_back(scenario: str) -> None:
    bench = load_profile("acceptance", bench=bench_of(scenario)).bench
    told: list[tuple[str, str]] = []
    with simulation(scenario, 1) as served:
        table = connect(
            bench_spec(bench, served.addresses), on_event=lambda *event: told.append(event)
        )
        assert table.load is not None
        for mode, level in (("current", 1.25), ("voltage", 12.5), ("resistance", 20.0)):
            said = table.load.apply(mode, level, on=True)  # type: ignore[arg-type]
            assert (said["mode"], said["on"]) == (mode, True)
            assert said["level"] == pytest.approx(level, rel=1e-3)
        assert table.load.off()
        assert all(reading.flag == "" for reading in table.read(tuple(bench.channels)))
        assert table.check_errors() == ()
        table.close()
    assert [one for one in told if one[0] != "error queue"] == []


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_a_run_ends_in_the_same_figures_whatever_is_spoken(tmp_path: Path) -> None:
    """Compare the sense error; the meters' errors are those of the seed, whatever they speak."""
    found = {}
    for bench in ("simulated", *map(bench_of, SPOKEN)):
        (tmp_path / "quick.toml").write_text(RUN.format(bench=bench))
        done = steadyrail("run", "quick.toml", f"--record={bench}.sqlite", "--json", cwd=tmp_path)
        assert done.returncode in {0, 3}, done.stderr
        figures = {one["name"]: one for one in json.loads(done.stdout)["figures"]}
        found[bench] = figures["sense_error"]["value"], figures["sense_error"]["U"]
    value, wide = found["simulated"]
    for bench, (other, _) in found.items():
        assert abs(other - value) < wide, bench
