import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_up_result import FIGURES

from sequencer.outputs import words
from sequencer.outputs.budget import budget_table
from sequencer.results import Component

SOURCES = (
    Component("resolution of voltage.sense", "rectangular", 1e-6, 1.4, 1.4e-6, math.inf, "V"),
    Component("gain of voltage.sense", "rectangular", 17e-6, 3.0, 51e-6, math.inf, "1"),
    Component("repeats", "normal (type A)", 30e-6, 1.0, 30e-6, 17.0),
    Component("thermal EMF of current.shunt", "rectangular", 1.2e-6, 0.33, 0.4e-6, math.inf, "V"),
    Component("offset of current.shunt", "rectangular", 2e-6, -1.5, 3e-6, math.inf, "A"),
)
U = math.sqrt(sum(part.contribution**2 for part in SOURCES))
FIGURE = replace(FIGURES[0], unit="V", u=U, k=2.0, expanded=2.0 * U, dof=250.3, budget=SOURCES)


def test_the_largest_part_stands_first_and_what_is_below_a_hundredth_is_folded():
    table = budget_table(FIGURE)
    assert [row.name for row in table.rows] == ["gain of voltage.sense", "repeats"]
    assert table.others.name == "3 others, together"
    assert table.others.contribution == "3.3 µV"  # root of 1.4² + 0.4² + 3²
    assert table.largest == "gain of voltage.sense makes 74 % of U²"  # 51² of 3512


def test_every_number_of_a_part_has_its_unit():
    gain, repeats = budget_table(FIGURE).rows
    assert (gain.u, gain.sensitivity, gain.contribution) == ("17 ppm", "3.00 V", "51 µV")
    assert (repeats.u, repeats.sensitivity, repeats.contribution) == ("30 µV", "1.00", "30 µV")
    assert repeats.distribution == "normal (type A), ν = 17"
    offset = budget_table(replace(FIGURE, budget=SOURCES[-1:])).rows[0]
    assert (offset.u, offset.sensitivity) == ("2 µA", "−1.50 V/A")


def test_a_part_of_unknown_unit_shows_a_bare_number():
    part = Component("offset", "rectangular", 5.8e-6, -56.5, 330e-6, math.inf)
    row = budget_table(replace(FIGURE, budget=(part,))).rows[0]
    assert (row.u, row.sensitivity) == ("5.8 × 10⁻⁶", "−56.5")


def test_the_last_line_gives_u_degrees_of_freedom_k_and_expanded_uncertainty():
    assert budget_table(FIGURE).total == "u = 59.3 µV, ν = 250, k = 2.00, U = 119 µV"


def test_a_single_small_part_is_named_not_folded():
    table = budget_table(replace(FIGURE, budget=SOURCES[:3]))
    assert [row.share for row in table.rows] == ["74 %", "26 %", "< 0.1 %"]
    assert table.others is None


def test_no_budget_gives_no_table():
    assert budget_table(replace(FIGURE, budget=())) is None


@given(st.lists(st.floats(), min_size=1, max_size=9))
def test_any_budget_shows_or_folds_every_part(sizes):
    parts = tuple(Component(f"part {i}", "normal", s, 1.0, s, s) for i, s in enumerate(sizes))
    table = budget_table(replace(FIGURE, budget=parts))
    folded = int(table.others.name.split()[0]) if table.others else 0
    assert len(table.rows) + folded == len(parts)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1090.4, "1090"),
        (-112.2, "−112"),
        (60.14, "60.1"),
        (0.97, "0.97"),
        (-3.084, "−3.08"),
        (123456.0, "> 9999"),
        (-1e9, "< −9999"),
        (None, "–"),
    ],
)
def test_a_margin_is_always_in_plain_figures(value, text):
    assert words.margin(value) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_margin_never_overflows_its_column(value):
    assert len(words.margin(value)) <= 7
    assert "e" not in words.margin(value)
