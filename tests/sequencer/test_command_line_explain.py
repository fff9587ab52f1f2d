"""`steadyrail explain`: every figure says what it is, and what would make it better known."""

import json
import math
import sys
import types
from dataclasses import replace

import pytest
from test_trials_on_the_nominal_unit import rehearsed

from sequencer.command_line import explain
from sequencer.documents.figure_names import FIGURES
from sequencer.errors import UsageError
from sequencer.results import Component
from sequencer.trials.explanation import explanations
from sequencer.trials.registry import trials
from sequencer.uncertainty.combine import combine, normal, rectangular, type_a
from sequencer.uncertainty.improve import improvements, measure_for, needed_factor, needed_readings

METER_PARTS = (
    "gain",
    "offset",
    "noise",
    "resolution",
    "thermal EMF",
    "shunt",
)
"""Components that every meter has; an explanation may say "meter" for them all."""


def test_every_figure_of_every_trial_is_documented_beside_its_code():
    for trial in trials().values():
        texts = explanations(trial)
        assert set(texts) == set(trial.gives), trial.name
        for name, one in texts.items():
            assert one.definition, name
            assert one.formula, name
            assert one.components, name
            assert one.source, name
            assert one.unit == FIGURES[name].unit, name


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
def test_the_parts_that_are_documented_are_those_that_are_computed(profile):
    texts = {name: one for trial in trials().values() for name, one in explanations(trial).items()}
    for figure in rehearsed(profile)[2].figures:
        said = " ".join(texts[figure.name].components)
        for part in figure.budget:
            name = part.name.partition(" (")[0]
            if name.startswith(METER_PARTS) and "meter" in said:
                continue
            assert name in said, f"{figure.name}: {name} is not in: {said}"


def test_trials_of_other_packages_are_read_in_the_same_way(monkeypatch):
    module = types.ModuleType("other_bench.humming")
    module.__doc__ = """Humming.

hum_level, hum_ratio (V; 1, signed)
    How loud it hums. Formula: RMS. Components: scatter; the meter's gain. Source: a book.
"""
    monkeypatch.setitem(sys.modules, "other_bench.humming", module)

    def figures(*_):
        return ()

    figures.__module__ = module.__name__
    plain = trials()["load_steps"]
    other = replace(
        plain, name="humming", gives=("hum_level", "hum_ratio", "silence"), figures=figures
    )
    found = explanations(other)
    assert set(found) == {"hum_level", "hum_ratio"}
    assert (found["hum_level"].unit, found["hum_ratio"].unit) == ("V", "1")
    assert found["hum_level"].definition == "How loud it hums."
    assert found["hum_level"].formula == "RMS."
    assert found["hum_level"].components == ("scatter", "the meter's gain")
    assert found["hum_level"].source == "a book."


def test_a_paragraph_of_its_own_holds_for_all_figures(monkeypatch):
    module = types.ModuleType("other_bench.ticking")
    module.__doc__ = """Ticking.

tick (s), tock (1)
    How long.

Components: the clock; scatter. Source of the terms: a book, 2nd ed.

Nothing more.
"""
    monkeypatch.setitem(sys.modules, module.__name__, module)

    def figures(*_):
        return ()

    figures.__module__ = module.__name__
    plain = trials()["load_steps"]
    found = explanations(replace(plain, name="ticking", gives=("tick", "tock"), figures=figures))
    assert (found["tick"].unit, found["tock"].unit) == ("s", "1")
    for one in found.values():
        assert one.components == ("the clock", "scatter")
        assert one.source.startswith("a book")


def test_lists_all_names(capsys):
    assert explain.run(None, None, as_json=True) == 0
    names = {one["name"] for one in json.loads(capsys.readouterr().out)["figures"]}
    assert {"load_regulation", "drift", "knee_onset"} <= names
    explain.run(None, None, as_json=False)
    assert "load_regulation" in capsys.readouterr().out


def test_explains_one(capsys):
    explain.run("knee_sharpness", None, as_json=False)
    out = capsys.readouterr().out
    assert "knee_onset/knee_current" in out
    assert "source" in out


def test_an_unknown_name_is_answered_with_the_nearest():
    with pytest.raises(UsageError, match='did you mean "drift_rate"'):
        explain.run("drft_rate", None, as_json=False)


BUDGET = [
    type_a("scatter between rounds", 0.5, 3.0),
    rectangular("shunt value (current.shunt)", 1.0),
    rectangular("gain (voltage.sense)", 0.4),
    normal("noise (voltage.sense)", 0.1),
]


def test_an_improvement_is_the_budget_computed_again():
    found = {one.measure.advice: one for one in improvements(BUDGET)}
    shunt = next(one for advice, one in found.items() if "shunt calibrated" in advice)
    again = [*BUDGET[:1], rectangular("shunt", 0.1), *BUDGET[2:]]
    assert shunt.expanded == pytest.approx(combine(again).expanded)
    assert shunt.components == ("shunt value (current.shunt)",)
    repeats = next(one for advice, one in found.items() if "4 times as many readings" in advice)
    # Four times as many of four values are sixteen: half the scatter, 15 degrees of freedom.
    again = [type_a("s", 0.25, 15.0), *BUDGET[1:3], normal("n", 0.05)]
    assert repeats.expanded == pytest.approx(combine(again).expanded)
    assert [one.expanded for one in improvements(BUDGET)] == sorted(
        one.expanded for one in improvements(BUDGET)
    )


def test_what_is_needed_is_enough_and_no_more():
    target = 0.9 * combine(BUDGET).expanded
    times = needed_readings(BUDGET, target)
    assert times is not None

    def with_readings(n):
        return combine(
            [type_a("s", 0.5 / math.sqrt(n), 4 * n - 1), *BUDGET[1:3], normal("n", 0.1 / n**0.5)]
        ).expanded

    assert with_readings(times * 1.001) <= target < with_readings(times * 0.97)
    factor = needed_factor(BUDGET, lambda part: part is BUDGET[1], target)
    assert factor is not None
    assert 0 < factor < 1
    assert needed_readings(BUDGET, 0.1) is None  # the shunt alone is more than that
    assert needed_factor(BUDGET, lambda part: part is BUDGET[2], 0.5 * target) is None


def test_an_empty_budget_has_no_improvements():
    assert improvements([]) == ()


def test_scatter_is_cured_by_repetition_whatever_its_name():
    part = Component("gain of the fit", "normal (type A)", 1.0, 1.0, 1.0, 5.0)
    assert "readings" in measure_for(part).advice


@pytest.mark.parametrize("asked", ["Knee onset", "KNEE_ONSET", "knee-onset"])
def test_a_figure_is_found_as_outputs_spell_it(asked, capsys):
    assert explain.run(asked, None, as_json=False) == 0
    assert capsys.readouterr().out.startswith("Knee onset (A)")


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("U", "95.45 of 100"),
        ("u", "Standard uncertainty"),
        ("Conditional pass", "can't be told yet"),
        ("E_n", "up to 1 they agree"),
        ("Margin / U", "in multiples of U; negative outside"),
        ("Prob.", "how likely the true value keeps the limit"),
    ],
)
def test_words_beside_verdicts_are_explained(asked, says, capsys):
    assert explain.run(asked, None, as_json=False) == 0
    assert says in " ".join(capsys.readouterr().out.split())


def test_words_are_explained_to_programs_as_well(capsys):
    explain.run("not covered", None, as_json=True)
    (found,) = json.loads(capsys.readouterr().out)["figures"]
    assert found["term"] == "not covered"
