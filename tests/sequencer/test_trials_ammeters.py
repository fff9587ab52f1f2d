"""The ammeters of one current against each other: which agree, which one is wrong, by how much."""

import tomllib

import numpy as np
import pytest

from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import load_profile
from sequencer.errors import FigureError
from sequencer.record.read import Step
from sequencer.requests import Read, Readings
from sequencer.trials import ammeters
from sequencer.trials.trial import Context, Evidence

DOCUMENTS = load_profile("acceptance")
FRACTIONS = (0.0, 0.1, 0.0, 0.5, 0.0, 1.0, 0.0, 1.0, 0.0, 0.5, 0.0, 0.1, 0.0)
PANEL = {
    "instrument": "load",
    "function": "current",
    "range": "20 A",
    "accuracy": {"error": "1 % + 1 digit", "display": "2000 counts"},
}


def context(*, panel=False):
    if not panel:
        return Context(DOCUMENTS.unit, DOCUMENTS.bench)
    raw = tomllib.loads(DOCUMENTS.bench_source.text)
    raw["channels"]["current.panel"] = PANEL
    return Context(DOCUMENTS.unit, BenchDocument.model_validate(raw))


def evidence(errors, *, panel=False, rng=None, noise=0.0, fractions=FRACTIONS):
    """Return load steps to 3 A in which each ammeter reads true·(1 + gain) + offset."""
    rng = rng or np.random.default_rng(1)
    steps = []
    for number, fraction in enumerate(fractions):
        time = number * 10.0 + np.arange(6.0)
        value = {
            channel: 3.0 * fraction * (1 + gain) + offset + noise * rng.standard_normal(6)
            for channel, (gain, offset) in errors.items()
        }
        tag = {"fraction": fraction, "part": "round"}
        request = Read(tuple(value), 6, 1.0, tag)
        times = dict.fromkeys(value, time)
        steps.append(Step(number, request, Readings(times, times, value)))
    return Evidence("load_steps", context(panel=panel), tuple(steps))


def figures(*args, **options):
    return {one.name: one for one in ammeters.figures_of_ammeters(evidence(*args, **options))}


GOOD = {"current.shunt": (0.0, 0.0), "current.load": (2e-4, 1e-3)}


def test_meters_within_their_statements_agree():
    found = figures(GOOD)
    assert found["current_agreement"].value < 1
    assert "agree within" in found["current_agreement"].notes[0]
    assert found["gain_of_current_load"].value == pytest.approx(2e-4, abs=1e-9)
    assert found["offset_of_current_load"].value == pytest.approx(1e-3, abs=1e-9)


def test_of_two_that_disagree_none_is_accused():
    found = figures(GOOD | {"current.load": (0.02, 0.0)})
    note = found["current_agreement"].notes[0]
    assert found["current_agreement"].value > 1
    assert note.startswith("Warning: current.shunt and current.load disagree")
    assert "can't be told" in note
    assert found["gain_of_current_load"].value == pytest.approx(0.02, abs=1e-9)


@pytest.mark.parametrize("wrong", ["current.shunt", "current.load", "current.panel"])
def test_of_three_the_odd_one_out_is_named(wrong):
    errors = GOOD | {"current.panel": (0.003, 0.01)} | {wrong: (0.1, 0.0)}
    note = figures(errors, panel=True)["current_agreement"].notes[0]
    assert f"{wrong} is the odd one out" in note


def test_three_that_all_disagree_are_said_so():
    errors = {"current.shunt": (0.0, 0.0), "current.load": (0.1, 0.0), "current.panel": (0.3, 0.0)}
    assert "More than one" in figures(errors, panel=True)["current_agreement"].notes[0]


def test_a_single_ammeter_is_compared_with_nothing():
    assert figures({"current.shunt": (0.0, 0.0)}) == {}


def test_intervals_cover_meters_drawn_within_their_statements():
    # True gains and offsets drawn inside the bench document's half-widths (tolerance and gain).
    rng = np.random.default_rng(4)
    runs, covered, agreed = 30, {"gain": 0, "offset": 0}, 0
    for _ in range(runs):
        shunt = (rng.uniform(-1e-3, 1e-3) + rng.uniform(-3e-5, 3e-5), rng.uniform(-1e-3, 1e-3))
        load = (rng.uniform(-5e-4, 5e-4), rng.uniform(-3e-3, 3e-3))
        found = figures({"current.shunt": shunt, "current.load": load}, rng=rng, noise=5e-5)
        gain = (1 + load[0]) / (1 + shunt[0]) - 1
        truth = {"gain": gain, "offset": load[1] - shunt[1] * (1 + gain)}
        for what, true in truth.items():
            one = found[f"{what}_of_current_load"]
            covered[what] += abs(one.value - true) <= one.expanded
        agreed += found["current_agreement"].value <= 1
    # Truths are known exactly here: the line sees them to its scatter, so all are covered.
    assert min(covered.values()) >= runs - 1
    # 95.45 % of single comparisons agree; the worst of four levels a little less.
    assert agreed >= 0.8 * runs


def test_the_line_finds_the_meters_own_errors():
    found = figures({"current.shunt": (0.0, 0.0), "current.load": (1e-3, 2e-3)}, noise=1e-4)
    for name, true in (("gain_of_current_load", 1e-3), ("offset_of_current_load", 2e-3)):
        scatter = next(p for p in found[name].budget if p.name.startswith("scatter between visits"))
        assert abs(found[name].value - true) < 4 * scatter.contribution


def test_overloaded_readings_are_refused():
    with pytest.raises(FigureError, match="overloaded or missing"):
        figures(GOOD | {"current.load": (float("nan"), 0.0)})


def test_an_early_end_is_refused():
    with pytest.raises(FigureError, match="at 3 steps, expected at least 4"):
        figures(GOOD, fractions=FRACTIONS[:3])


def test_a_chart_shows_where_they_agree():
    (chart,) = ammeters.charts_of_ammeters(evidence(GOOD | {"current.load": (0.02, 0.0)}))
    assert [line.label for line in chart.lines] == ["current.load"]
    assert chart.lines[0].y[-1] > 1  # reads too much: above
    assert [mark.at for mark in chart.marks] == [-1.0, 1.0]


@pytest.mark.parametrize("stuck", ["current.shunt", "current.load"])
def test_an_ammeter_that_stands_still_is_named(stuck):
    errors = GOOD | {stuck: (-1.0, 1.5)}
    with pytest.raises(FigureError, match=f"{stuck} read 1.5 .* looks frozen"):
        figures(errors)
