"""Scenarios: quantities as text, every mistake at once."""

from pathlib import Path

import pytest

from simulated_bench.draw import Draws
from simulated_bench.errors import QuantityError, ScenarioError
from simulated_bench.quantities import Uncertain, parse
from simulated_bench.scenario import load, shipped


@pytest.mark.parametrize(
    ("text", "dimension", "nominal", "half_width"),
    [
        ("30 mV", "V", 0.03, 0.0),
        ("1 mΩ ± 30 %", "ohm", 1e-3, 0.3e-3),
        ("20 ppm/K ± 6 ppm/K", "1/K", 20e-6, 6e-6),
        ("-0.01 %/K", "1/K", -1e-4, 0.0),
        ("10 000 µF", "F", 0.01, 0.0),
        ("8 h", "s", 28800.0, 0.0),
        ("30 min", "s", 1800.0, 0.0),
        ("0 % ± 0.1 %", "1", 0.0, 1e-3),
        ("60 ppm ± 30 %", "1", 60e-6, 18e-6),
        ("22 °C ± 1 °C", "degC", 22.0, 1.0),
        ("0.35 K/W", "K/W", 0.35, 0.0),
        ("1.5 mm²", "m2", 1.5e-6, 0.0),
        ("6 1/h", "Hz", 6 / 3600, 0.0),
    ],
)
def test_quantities_become_si(text: str, dimension: str, nominal: float, half_width: float) -> None:
    found = parse(text, dimension)
    assert found.nominal == pytest.approx(nominal)
    assert found.half_width == pytest.approx(half_width)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [("30 mA", "V"), ("30", "V"), ("", "V"), ("V", "V"), ("3 V ±", "V"), ("3 V ± 1 A", "V"),
     ("1 ppm", "1/K"), ("nan V", "V")],
)  # fmt: skip
def test_a_wrong_dimension_is_refused(text: str, dimension: str) -> None:
    with pytest.raises(QuantityError, match="expected"):
        parse(text, dimension)


def test_uncertain_values_stay_within_their_spread() -> None:
    drawn = [Draws(seed).value("x", Uncertain(5.0, 0.5)) for seed in range(200)]
    assert 4.5 <= min(drawn) < 4.6
    assert 5.4 < max(drawn) <= 5.5


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(
        'name = "bad"\ndescription = "x"\nbased_on = "healthy"\n'
        '[wiring]\nresidual = "2 V"\nresidul = "2 mΩ"\n[room]\ndaily = 3\n'
    )
    with pytest.raises(ScenarioError) as caught:
        load(path)
    told = caught.value.mistakes
    assert len(told) == 3
    assert any("wiring.residual:" in line and "'2 V'" in line for line in told)
    assert any("wiring.residul:" in line and "unknown key" in line for line in told)
    assert any("room.daily:" in line and "in quotes" in line for line in told)
    assert all(str(path) in line for line in told)


def test_a_missing_scenario_names_what_there_is() -> None:
    with pytest.raises(ScenarioError, match="healthy"):
        load("helthy")


def test_broken_toml_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("[wiring\n")
    with pytest.raises(ScenarioError, match="line 1"):
        load(path)


def test_scenarios_based_on_one_another_in_a_circle_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('name = "a"\nbased_on = "b.toml"\n')
    (tmp_path / "b.toml").write_text('name = "b"\nbased_on = "a.toml"\n')
    with pytest.raises(ScenarioError, match="circle"):
        load(tmp_path / "a.toml")


def test_instruments_are_handed_on_as_they_stand(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        'name = "own"\ndescription = "x"\nbased_on = "healthy"\n'
        '[instruments.voltmeter_sense]\ngain = "1 ppm"\n'
    )
    assert load(path).instruments["voltmeter_sense"]["gain"] == "1 ppm"


def test_each_file_carries_its_own_name() -> None:
    assert "healthy" in shipped()
    assert [load(name).name for name in shipped()] == list(shipped())


def test_a_resistance_that_could_be_negative_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(
        'name = "odd"\ndescription = "x"\nbased_on = "healthy"\n'
        '[heat]\nsink_ambient = "0.3 K/W ± 0.4 K/W"\n[wiring]\nload_leads = "0 Ω"\n'
    )
    with pytest.raises(ScenarioError) as caught:
        load(path)
    assert len(caught.value.mistakes) == 2
    assert "always positive" in caught.value.mistakes[0]
