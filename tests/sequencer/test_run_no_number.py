"""A reading without a number leaves an event, and a blind meter doesn't fill the record."""

from math import nan

from drivers.roles import Reading
from sequencer.run.no_number import NoNumber


def at(time_s: float, *, number: bool) -> Reading:
    value, flag = (30.0, "") if number else (nan, "not a number")
    return Reading("voltage.sense", value, "9.91E+37", time_s, time_s, flag)  # type: ignore[arg-type]


def test_a_single_one_is_told_and_a_night_of_them_once_a_minute() -> None:
    told: list[float] = []
    watch = NoNumber(lambda time_s, _: told.append(time_s))
    watch.see([at(0.0, number=True)])
    assert told == []
    for second in range(1, 182):
        watch.see([at(float(second), number=False)])
    assert told == [1.0, 61.0, 121.0, 181.0]
