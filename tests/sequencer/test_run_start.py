"""The start: a look that energises nothing, then a check at a small current."""

from collections.abc import Callable, Mapping

import pytest
from stand_in_bench import Notebook, StandInBench, Value

from drivers.roles import Bench
from sequencer.documents.load import load_profile
from sequencer.errors import BenchFailed, GuardTripped, TrialStopped
from sequencer.judging import planned_trials
from sequencer.run.bounds import guards_of
from sequencer.run.live import LiveBench
from sequencer.run.loop import perform
from sequencer.run.start import low_energy, preflight

DOCUMENTS = load_profile("overnight")
REST: Mapping[str, float] = {
    "voltage.sense": 0.0,
    "voltage.load": 0.0,
    "voltage.terminals": 0.0,
    "current.shunt": 0.001,
    "current.load": -0.002,
    "temperature.heatsink": 22.0,
    "temperature.ambient": 22.0,
}


def at_rest(**changed: Value) -> StandInBench:
    values: dict[str, Value] = {**REST, **{k.replace("_", "."): v for k, v in changed.items()}}

    def constant(value: Value) -> Callable[[float], Value]:
        return lambda _: value

    return StandInBench({channel: constant(value) for channel, value in values.items()})


def look(bench: Bench) -> None:
    preflight(bench, DOCUMENTS, guards_of(DOCUMENTS), lambda _: None)


def test_a_bench_at_rest_may_start() -> None:
    bench = at_rest()
    look(bench)
    assert bench.load is not None
    assert bench.load.history == []  # nothing was set but off
    assert bench.operator is not None
    assert bench.operator.heard == []


def test_a_meter_out_of_range_a_stray_current_or_unlike_places_stop_the_start() -> None:
    with pytest.raises(GuardTripped, match="over its meter's range"):
        look(at_rest(voltage_sense=(float("nan"), "overload")))
    with pytest.raises(BenchFailed, match="not a number"):
        look(at_rest(temperature_ambient=(float("nan"), "not a number")))
    with pytest.raises(TrialStopped, match="although the load is off"):
        look(at_rest(current_shunt=0.2))
    with pytest.raises(TrialStopped, match="no current flows"):
        look(at_rest(voltage_terminals=3.0))


def test_a_load_that_stays_on_and_errors_that_come_back_stop_the_start() -> None:
    stuck = at_rest()
    assert stuck.load is not None
    stuck.load.on = stuck.load.stuck = True
    with pytest.raises(BenchFailed, match="does not confirm"):
        look(stuck)
    erring = at_rest()
    erring.check_errors = lambda: ('load: -100,"Command error"',)  # type: ignore[method-assign]
    with pytest.raises(BenchFailed, match="come back at rest"):
        look(erring)


def wired(
    sense_ohm: float = 0.001, shunt: float = 1.0, sign: float = 1.0
) -> tuple[StandInBench, Notebook]:
    """Return a bench whose unit is on at 30 V, with errors to choose."""
    bench = at_rest()
    load = bench.load
    assert load is not None

    def current() -> float:
        return load.level * load.on

    bench.channels = {
        **bench.channels,
        "voltage.sense": lambda _: sign * (30.0 - sense_ohm * current()),
        "voltage.load": lambda _: 30.0 - sense_ohm * current(),
        "voltage.terminals": lambda _: 30.0 + 0.04 * current(),
        "current.shunt": lambda _: shunt * current(),
        "current.load": lambda _: current(),
    }
    return bench, Notebook()


def check(bench: StandInBench, notebook: Notebook) -> None:
    live = LiveBench(bench, notebook, guards_of(DOCUMENTS))
    settings = [setting for _, setting in planned_trials(DOCUMENTS)]
    perform(low_energy(DOCUMENTS, settings), live)


def test_plausible_leads_pass_and_what_was_seen_is_in_the_record() -> None:
    bench, notebook = wired()
    check(bench, notebook)
    assert any("Start check at 0.15 A" in text for _, _, text in notebook.events)
    assert bench.load is not None
    assert max(level for _, level, _ in bench.load.history) <= 0.15 + 1e-9


@pytest.mark.parametrize(
    ("bench_and_notebook", "said"),
    [
        (wired(sense_ohm=1.0), "the sense leads look open, reversed or not connected"),
        (wired(shunt=-1.0), "one is wrong, reversed"),
        (wired(shunt=1.5), "one is wrong, reversed"),
    ],
)
def test_implausible_leads_end_the_run_at_the_small_current(
    bench_and_notebook: tuple[StandInBench, Notebook], said: str
) -> None:
    bench, notebook = bench_and_notebook
    with pytest.raises(TrialStopped, match=said):
        check(bench, notebook)
    assert bench.load is not None
    assert max(level for _, level, _ in bench.load.history) <= 0.15 + 1e-9
