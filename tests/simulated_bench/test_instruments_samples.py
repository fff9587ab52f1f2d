"""Several samples for one start, as bench time passes; meters started together sample together."""

from scpi_stand_in import StandInWorld, ask, error, table_top


class RisingWorld(StandInWorld):
    """One volt a second, so that a reading says when it was taken."""

    def voltage(self, place: str, window_s: float = 0.0) -> float:  # type: ignore[override]  # noqa: ARG002
        return self.now


def numbers(text: str) -> list[float]:
    return [float(number) for number in text.split(",")]


def near(found: list[float], wanted: list[float]) -> bool:
    return len(found) == len(wanted) and all(
        abs(a - b) < 0.002 for a, b in zip(found, wanted, strict=True)
    )


def test_meters_started_together_sample_together() -> None:
    placed = table_top(RisingWorld())
    one, two = placed["voltmeter_sense"].device, placed["voltmeter_load"].device
    for meter in (one, two):
        assert ask(meter, "VOLT:APER 0.99;:SAMP:COUN 5;COUN?") == "5"
    for meter in (one, two):
        assert ask(meter, "INIT;:SYST:ERR?") == '0,"No error"'
    seconds = [0.0, 1.0, 2.0, 3.0, 4.0]
    assert near(numbers(ask(one, "FETC?")), seconds)
    assert near(numbers(ask(two, "FETC?")), seconds)
    assert float(ask(placed["clock"].device, "CLOC:TIME?")) == 5.0


def test_read_waits_for_all_of_them_and_a_reset_returns_to_one() -> None:
    placed = table_top(RisingWorld())
    meter = placed["voltmeter_sense"].device
    ask(meter, "VOLT:APER 0.09;:SAMP:COUN 3")
    assert near(numbers(ask(meter, "READ?")), [0.0, 0.1, 0.2])
    ask(meter, "*RST")
    assert len(numbers(ask(meter, "READ?"))) == 1


def test_a_setting_forgets_the_samples_and_lets_them_end_first() -> None:
    world = RisingWorld()
    meter = table_top(world)["voltmeter_sense"].device
    ask(meter, "VOLT:APER 0.09;:SAMP:COUN 4;:INIT")
    ask(meter, "VOLT:RANG 10")
    assert abs(world.now - 0.4) < 1e-9
    ask(meter, "FETC?")
    assert error(meter) == -230


def test_a_count_out_of_bounds_is_refused() -> None:
    meter = table_top()["voltmeter_sense"].device
    for count in ("0", "10001", "1E9"):
        ask(meter, f"SAMP:COUN {count}")
        assert error(meter) == -222
    assert ask(meter, "SAMP:COUN?") == "1"
