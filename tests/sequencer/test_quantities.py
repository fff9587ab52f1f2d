"""Text with a unit becomes an SI number, or an error that says what was found and expected."""

import pytest
from pydantic import BaseModel, ValidationError

from sequencer.documents import dimensions as d
from sequencer.documents.dimensions import Dimension
from sequencer.documents.quantities import (
    Celsius,
    PositiveSeconds,
    PositiveVolts,
    QuantityError,
    Ratio,
    parse_quantity,
)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("30 mV", d.VOLTAGE, 0.03),
        ("30mV", d.VOLTAGE, 0.03),
        ("+1.5e-3 V", d.VOLTAGE, 0.0015),
        (".5 V", d.VOLTAGE, 0.5),
        ("1.5e-1 mV", d.VOLTAGE, 1.5e-4),
        ("2E3 µA", d.CURRENT, 2e-3),
        ("10 uV", d.VOLTAGE, 1e-5),
        ("10 µV", d.VOLTAGE, 1e-5),
        ("10 \u03bcV", d.VOLTAGE, 1e-5),
        ("30\u00a0V", d.VOLTAGE, 30.0),
        ("3 A", d.CURRENT, 3.0),
        ("10 mΩ", d.RESISTANCE, 0.01),
        ("10 m\u2126", d.RESISTANCE, 0.01),
        ("10 mohm", d.RESISTANCE, 0.01),
        ("2.5 W", d.POWER, 2.5),
        ("8 h", d.TIME, 28800.0),
        ("30 min", d.TIME, 1800.0),
        ("250 ms", d.TIME, 0.25),
        ("2 d", d.TIME, 172800.0),
        ("50 Hz", d.FREQUENCY, 50.0),
        ("25 °C", d.TEMPERATURE, 25.0),
        ("25 degC", d.TEMPERATURE, 25.0),
        ("-5 °C", d.TEMPERATURE, -5.0),
        ("5 K", d.TEMPERATURE_DIFFERENCE, 5.0),
        ("-10 %", d.RATIO, -0.1),
        ("\u221210 %", d.RATIO, -0.1),
        ("0.02 %", d.RATIO, 0.0002),
        ("4 ppm", d.RATIO, 4e-6),
        ("1.5 m", d.LENGTH, 1.5),
        ("15 cm", d.LENGTH, 0.15),
        ("0.75 mm²", d.AREA, 7.5e-7),
        ("0.75 mm2", d.AREA, 7.5e-7),
        ("0.75 mm^2", d.AREA, 7.5e-7),
        ("5 ppm/K", d.RATIO_PER_KELVIN, 5e-6),
        ("5 ppm/°C", d.RATIO_PER_KELVIN, 5e-6),
        ("20 uV/K", d.VOLTAGE_PER_KELVIN, 2e-5),
        ("1 mV/h", d.VOLTAGE_RATE, 1e-3 / 3600),
        ("6 K/min", d.TEMPERATURE_RATE, 0.1),
    ],
)
def test_text_is_read_into_si(text: str, dimension: Dimension, value: float) -> None:
    assert parse_quantity(text, dimension) == value


def test_min_is_minutes_and_never_milli_inches() -> None:
    assert parse_quantity("30 min", d.TIME) == 1800.0
    with pytest.raises(QuantityError, match=r'"30 min" \(a time\)'):
        parse_quantity("30 min", d.LENGTH)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ("30 mA", '"30 mA" (a current)'),
        ("30 min", '"30 min" (a time)'),
        ("5 ppm", '"5 ppm" (a ratio)'),
        (30, "30 (a number without a unit)"),
        (3.5, "3.5 (a number without a unit)"),
        ("30", '"30" (a number without a unit)'),
        ("0,5 V", '"0,5 V" (a decimal comma; write 0.5)'),
        ("-0,005 V", '"-0,005 V" (a decimal comma; write -0.005)'),
        (
            "1,000 V",
            '"1,000 V" (a comma, for decimals or thousands; write a point, or nothing between '
            "thousands)",
        ),
        ("10 KV", '"10 KV" (the unit "KV" is not known)'),
        ("10 v", '"10 v" (the unit "v" is not known)'),
        ("10 V V", '"10 V V" (the unit "V V" is not known)'),
        ("V", '"V" (no number and unit)'),
        ("", '"" (no number and unit)'),
        ("inf V", '"inf V" (no number and unit)'),
        ("nan V", '"nan V" (no number and unit)'),
        ("1e999 V", '"1e999 V" (the unit "e999 V" is not known)'),
        ("1_000 V", '"1_000 V" (the unit "_000 V" is not known)'),
        ("٣ V", '"٣ V" (no number and unit)'),
        (True, "true"),
        ({}, "a table"),
        (["3 V"], "a list"),
    ],
)
def test_what_is_no_voltage_is_refused_and_named(found: object, said: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(found, d.VOLTAGE)
    assert caught.value.found == said
    assert caught.value.expected == 'a voltage as text with its unit, such as "30 mV"'


def test_very_long_text_is_cut_in_the_message() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity("9" * 100_000 + " V", d.VOLTAGE)
    assert len(str(caught.value)) < 200


def test_a_temperature_is_no_temperature_difference() -> None:
    with pytest.raises(QuantityError, match=r"a temperature\), expected a temperature difference"):
        parse_quantity("0.5 °C", d.TEMPERATURE_DIFFERENCE)
    with pytest.raises(QuantityError, match=r"a temperature difference\), expected a temperature"):
        parse_quantity("300 K", d.TEMPERATURE)


def test_signs_are_checked_and_named() -> None:
    with pytest.raises(QuantityError, match=r'"-30 V" \(negative\), expected a positive voltage'):
        parse_quantity("-30 V", d.VOLTAGE, "positive")
    with pytest.raises(QuantityError, match=r'"0 V" \(zero\), expected a positive voltage'):
        parse_quantity("0 V", d.VOLTAGE, "positive")
    with pytest.raises(QuantityError, match="expected a voltage of zero or more"):
        parse_quantity("-1 mV", d.VOLTAGE, "not negative")
    assert parse_quantity("0 V", d.VOLTAGE, "not negative") == 0.0


class _Model(BaseModel):
    voltage: PositiveVolts
    period: PositiveSeconds = 0.25
    room: Celsius = 23.0
    parts: tuple[Ratio, ...] = (0.1, 1.0)


def test_a_model_reads_text_and_writes_text_that_it_reads_again() -> None:
    model = _Model.model_validate({"voltage": "30 V", "room": "-5 °C", "parts": ["0 %", "25 %"]})
    assert model.model_dump() == {
        "voltage": 30.0,
        "period": 0.25,
        "room": -5.0,
        "parts": (0.0, 0.25),
    }
    written = model.model_dump(mode="json")
    assert written == {
        "voltage": "30 V",
        "period": "250 ms",
        "room": "-5 °C",
        "parts": ["0 %", "25 %"],
    }
    assert _Model.model_validate(written) == model


def test_a_model_refuses_bare_numbers() -> None:
    with pytest.raises(ValidationError, match="30 \\(a number without a unit\\)"):
        _Model.model_validate({"voltage": 30})


def test_a_models_schema_describes_text_for_editors() -> None:
    voltage = _Model.model_json_schema()["properties"]["voltage"]
    assert voltage["type"] == "string"
    assert voltage["examples"] == ["30 mV"]
    assert "positive voltage" in voltage["description"]
