"""Guards: which bound wins, and when one trips."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.roles import Reading
from sequencer.errors import GuardTripped
from sequencer.run.guards import GuardBound, Guards, tightest


def reading(value: float, at: float = 0.0, channel: str = "temperature.heatsink") -> Reading:
    return Reading(channel, value, str(value), at, at)


def test_the_tightest_bound_of_each_kind_wins_and_all_sources_are_named() -> None:
    joined = tightest(
        (
            GuardBound("c", at_most=5.0, source="the bench document"),
            GuardBound("c", at_least=1.0, at_most=9.0, rate_at_most=0.1, source="the profile"),
        )
    )
    assert joined == (GuardBound("c", 1.0, 5.0, 0.1, "the bench document, the profile"),)


@given(value=st.floats(-1e6, 1e6), low=st.floats(-1e3, 0), high=st.floats(0.001, 1e3))
def test_a_guard_trips_exactly_outside_its_bounds(value: float, low: float, high: float) -> None:
    guards = Guards([GuardBound("temperature.heatsink", low, high, source="a test")])
    if low <= value <= high:
        guards.check([reading(value)])
    else:
        with pytest.raises(GuardTripped):
            guards.check([reading(value)])


def test_a_rise_trips_once_it_has_lasted_long_enough_to_be_heat_and_not_noise() -> None:
    bound = GuardBound("temperature.heatsink", rate_at_most=5.0 / 60, source="a test")
    guards = Guards([bound])
    tripped_at = None
    for second in range(60):
        try:
            guards.check([reading(20.0 + 0.1 * second, float(second))])
        except GuardTripped as trip:
            tripped_at, said = second, str(trip)
            break
    assert tripped_at == 20
    assert "per minute" in said
    calm = Guards([bound])
    for second in range(600):
        calm.check([reading(20.0 + 0.05 * second, float(second))])


def test_a_guard_that_gets_no_numbers_trips() -> None:
    guards = Guards([GuardBound("temperature.heatsink", at_most=80.0, source="a test")])
    guards.check([reading(float("nan"))])
    guards.check([reading(20.0)])
    guards.check([reading(float("nan"))])
    guards.check([reading(float("nan"))])
    with pytest.raises(GuardTripped, match="no number 3 times in a row") as caught:
        guards.check([reading(float("nan"), 7.0)])
    assert caught.value.detail == {
        "guard": "temperature.heatsink",
        "reason": "no number",
        "at": 7.0,
    }


def test_what_tripped_is_told_to_programs_as_well_as_to_people() -> None:
    bounds = [GuardBound("voltage.sense", -1.0, 35.0, at_most_from="the unit", source="a test")]
    for value, reason, bound, source in (
        (36.0, "too high", 35.0, "the unit"),
        (-2.0, "too low", -1.0, "a test"),
    ):
        with pytest.raises(GuardTripped) as caught:
            Guards(bounds).check([reading(value, 12.5, "voltage.sense")])
        assert caught.value.detail == {
            "guard": "voltage.sense",
            "reason": reason,
            "value": value,
            "bound": bound,
            "unit": "V",
            "source": source,
            "at": 12.5,
        }


def test_a_rise_is_told_per_second() -> None:
    guards = Guards([GuardBound("temperature.heatsink", rate_at_most=0.05, source="a test")])
    for second in range(20):
        guards.check([reading(20.0 + 0.1 * second, float(second))])
    with pytest.raises(GuardTripped) as caught:
        guards.check([reading(22.0, 20.0)])
    detail = caught.value.detail
    assert detail["value"] == pytest.approx(0.1)
    assert (detail["bound"], detail["unit"], detail["reason"]) == (0.05, "K/s", "rises too fast")


def test_a_raised_safety_input_is_told_without_a_bound() -> None:
    guards = Guards([GuardBound("interlock.smoke", at_most=0.5, source="a test")])
    with pytest.raises(GuardTripped) as caught:
        guards.check([reading(1.0, 3.0, "interlock.smoke")])
    assert caught.value.detail["reason"] == "raised"
    assert "bound" not in caught.value.detail


def test_channels_without_a_guard_are_left_alone() -> None:
    Guards([]).check([reading(1e9)])
