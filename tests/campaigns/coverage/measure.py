"""One bench of the campaign: trials, figures, and what is true."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import inf, isfinite
from pathlib import Path
from typing import Any

import numpy as np

import profiles
from sequencer.documents.bench import BenchDocument
from sequencer.documents.unit import UnitDocument
from sequencer.errors import FigureError
from sequencer.requests import Read
from sequencer.results import Figure, Rule
from sequencer.run.loop import perform
from sequencer.trials.registry import trials
from sequencer.trials.trial import Context, Evidence
from sequencer.verdicts.decide import _outcome
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_state import set_up, solver
from tests.campaigns.coverage.desk import bench_scenario, desk_for
from tests.campaigns.coverage.strata import Plan, plan
from tests.campaigns.coverage.true_ammeters import true_ammeters
from tests.campaigns.coverage.true_figures import true_figures

SHIPPED = Path(profiles.__file__).parent
UNITS = {"gain": "%", "stability_gain": "%", "shunt_tolerance": "%"}

LIMIT_WITHIN = 1.0
"""Limits are drawn within one U of the true value, where decisions are hard."""


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of one bench against its truth.

    `decisions`: by rule, whether a unit just outside its limit was passed and one just inside was
    failed, each at a limit drawn within U of the truth, and `at_limit` with the limit at the truth.
    """

    seed: int
    stratum: str
    trial: str
    figure: str
    truth: float
    value: float
    u: float
    expanded: float
    dof: float
    passed_outside: dict[str, bool]
    failed_inside: dict[str, bool]
    passed_at_limit: dict[str, bool]

    @property
    def error(self) -> float:
        """Value less truth."""
        return self.value - self.truth


@dataclass(frozen=True, slots=True)
class Missing:
    """A figure that was not given, with the reason, or one without a truth."""

    seed: int
    stratum: str
    figure: str
    why: str


def measure(
    seed: int, names: Sequence[str] | None = None, *, too_large: float = 1.0
) -> tuple[list[Row], list[Missing]]:
    """Measure the bench of a seed with the named trials (all where None).

    `too_large` is a factor on every error of its meters.
    """
    bench = plan(seed)
    rows: list[Row] = []
    missing: list[Missing] = []
    for name in bench.settings:
        if names is not None and name not in names:
            continue
        try:
            found = measured(bench, name, too_large=too_large)
        except FigureError as error:
            missing.append(Missing(bench.seed, bench.stratum, name, str(error)))
            continue
        given, true = found.figures, found.true
        untold = {name for name, one in given.items() if one.value == 0.0 == true.get(name)}
        told = given.keys() & true.keys() - untold
        rows += [_row(bench, one, true[name]) for name, one in given.items() if name in told]
        reasons = dict.fromkeys(given.keys() - true.keys(), "no truth is stated")
        reasons |= dict.fromkeys(untold, "exactly nothing, as is true: no measurement")
        if not given.keys() >= set(trials()[name].gives):
            reasons |= found.cannot
        missing += [
            Missing(bench.seed, bench.stratum, figure, why)
            for figure, why in reasons.items()
            if figure not in told
        ]
    return rows, missing


@dataclass(frozen=True, slots=True)
class Measured:
    """What one trial gave on one bench, what is true, and the channels that it read.

    `cannot`: why figures are not given.
    """

    figures: Mapping[str, Figure]
    true: Mapping[str, float]
    cannot: Mapping[str, str]
    channels: frozenset[str]


def measured(
    bench: Plan, name: str, *, too_large: float = 1.0, without: tuple[str, str] = ("", "")
) -> Measured:
    """Measure one planned bench with one trial.

    `too_large` is a factor on every error of its meters; `without` leaves out a part of the error
    of one channel's meter.

    Raises
    ------
    FigureError
        When nothing comes out.
    """
    trial = trials()[name]
    settings = trial.settings.model_validate(bench.settings[name])
    scenario = bench_scenario(bench, name, too_large=too_large, without=without)
    number = tuple(bench.settings).index(name)
    desk = desk_for(bench, scenario, number, too_large=too_large, without=without)
    context = Context(_unit(bench, scenario), _bench(bench))
    perform(trial.procedure(settings, context), desk)
    evidence = Evidence(name, context, tuple(desk.steps))
    found = trial.figures(settings, evidence)
    began = set_up(scenario, bench.seed).now
    known = dict(true_figures(scenario, bench.seed, name, (began + desk.world.now) / 2.0))
    if name == "load_steps":
        known |= true_ammeters(desk, evidence)
    read = (step.request.channels for step in desk.steps if isinstance(step.request, Read))
    return Measured(
        figures={one.name: one for one in found},
        true={figure: value for figure, value in known.items() if isfinite(value)},
        cannot=trial.cannot(settings, evidence),
        channels=frozenset(channel for channels in read for channel in channels),
    )


def _row(bench: Plan, figure: Figure, true: float) -> Row:
    # From a hash of names, not Python's own, which differs from process to process.
    rng = np.random.default_rng((bench.seed, 6, *figure.name.encode()))
    away = float(rng.uniform(0.0, LIMIT_WITHIN)) * figure.expanded
    upper = bool(rng.uniform() < 0.5)
    return Row(
        seed=bench.seed,
        stratum=bench.stratum,
        trial=figure.trial,
        figure=figure.name,
        truth=true,
        value=figure.value,
        u=figure.u,
        expanded=figure.expanded,
        dof=min(figure.dof, 1e9),
        passed_outside=_outcomes(figure, true - away if upper else true + away, upper, "pass"),
        failed_inside=_outcomes(figure, true + away if upper else true - away, upper, "fail"),
        passed_at_limit=_outcomes(figure, true, upper, "pass"),
    )


def _outcomes(figure: Figure, limit: float, upper: bool, wanted: str) -> dict[str, bool]:
    rules: tuple[Rule, ...] = ("guarded", "simple")
    low, high = (-inf, limit) if upper else (limit, inf)
    return {
        rule: _outcome(figure.value, figure.expanded, low, high, rule) == wanted for rule in rules
    }


def _volts(text: str) -> float:
    return float(text.removesuffix(" V"))


@cache
def _texts() -> tuple[dict[str, Any], dict[str, Any]]:
    bench = tomllib.loads((SHIPPED / "benches" / "simulated.toml").read_text(encoding="utf-8"))
    unit = tomllib.loads((SHIPPED / "units" / "w-17.toml").read_text(encoding="utf-8"))
    return bench, unit


def _bench(bench: Plan) -> BenchDocument:
    """Return the shipped bench's document with this bench's accuracy statements."""
    raw = dict(_texts()[0])
    channels = raw["channels"]
    if "current.panel" in bench.statements:
        channels = {**channels, "current.panel": {"instrument": "person", "function": "current"}}
    raw["channels"] = {
        name: {
            **channel,
            "accuracy": {
                key: _written(key, value, name) for key, value in bench.statements[name].items()
            },
        }
        if name in bench.statements
        else channel
        for name, channel in channels.items()
    }
    return BenchDocument.model_validate(raw)


def _written(key: str, value: float, channel: str) -> str:
    if key in UNITS:
        return f"{value * 100:.12f} %"
    if key == "temperature_span" or channel.startswith("temperature."):
        return f"{value:.12f} K"
    if key == "temperature_offset":
        return f"{value * 1e6:.9f} µV/K"
    if key in {"temperature_gain", "shunt_temperature"}:
        return f"{value * 1e6:.9f} ppm/K"
    return f"{value * 1e6:.9f} {'µA' if channel in AMMETERS else 'µV'}"


AMMETERS = ("current.load", "current.panel")
"""The shunt's meter is a voltmeter."""


def _unit(bench: Plan, scenario: Scenario) -> UnitDocument:
    """Return the shipped unit's document at this bench's voltage, promising its departure.

    The voltage before its pass element stands in it as it is at rated line and load.
    """
    raw = dict(_texts()[1])
    promised = {"figure": "load_regulation", "at_most": f"{bench.departure * 1e3:.12f} mV"}
    raw["limits"] = [promised]
    full = solver(set_up(scenario, bench.seed), line_ratio=1.0)("current", bench.current)
    known = {"unregulated": f"{full.reservoir_v:.9f} V"}
    # Where two ranges meet the unit stands in the lower one.
    mine = next(
        n for n, one in enumerate(raw["ranges"]) if bench.voltage <= _volts(one["voltage_to"])
    )
    raw["ranges"] = [one | known if n == mine else one for n, one in enumerate(raw["ranges"])]
    remote = {"control": "remote"} if scenario.remote is not None else {}
    raw["unit"] = raw["unit"] | remote
    return UnitDocument.model_validate(raw)
