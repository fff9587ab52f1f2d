"""Every line of a budget says in which unit it is, and from which channel where it is read."""

import re
from functools import cache

import pytest
from rehearsed import rehearse

from sequencer.documents.load import load_profile
from sequencer.outputs.budget import budget_table
from sequencer.results import Figure
from tests.campaigns.coverage.measure import measured
from tests.campaigns.coverage.strata import plan

UNIT_OF_NUMBER = re.compile(r"[\d⁻⁰¹²³⁴⁵⁶⁷⁸⁹] \S")
OF_THE_UNIT = {
    "the unit's own wander",
    "what went on from before the step",
    "lift by noise",
    "the first minute",
    "time from load on to the first reading",
    "difference between both ways",
    "pace of the limit's drift",
}
"""What is of the unit or of the method, not of one channel."""


@cache
def figures(profile: str) -> tuple[Figure, ...]:
    """Return the figures of a profile, rehearsed on the nominal unit."""
    return rehearse(load_profile(profile))[1].figures


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
def test_each_part_says_its_channel_where_it_has_one(profile: str) -> None:
    unnamed = {
        part.name for figure in figures(profile) for part in figure.budget if "(" not in part.name
    }
    assert unnamed <= OF_THE_UNIT


def of_heat() -> tuple[Figure, ...]:
    """Return the figures of a trial that no shipped profile has."""
    return tuple(measured(plan(3), "heat").figures.values())


@pytest.mark.parametrize("profile", ["acceptance", "overnight", "heat"])
def test_each_part_says_its_unit(profile: str) -> None:
    for figure in of_heat() if profile == "heat" else figures(profile):
        budget = budget_table(figure)
        assert budget is not None
        for row in budget.rows:
            assert UNIT_OF_NUMBER.search(row.u), (figure.name, row)


def test_a_part_that_is_carried_on_keeps_its_own_unit() -> None:
    (length,) = (one for one in figures("acceptance") if one.name == "sense_length")
    (scatter,) = (part for part in length.budget if part.name.startswith("scatter"))
    assert scatter.name == "scatter between rounds (voltage.load less voltage.sense)"
    assert scatter.unit == "ohm"
    assert scatter.contribution == pytest.approx(scatter.u * scatter.sensitivity)
