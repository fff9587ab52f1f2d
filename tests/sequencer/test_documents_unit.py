"""The unit document: what it holds and what it refuses."""

from typing import Any

import pytest
from documents_made_up import UNIT, changed, mistakes
from pydantic import ValidationError

from sequencer.documents.bounds import Allowance, parse_allowance
from sequencer.documents.dimensions import CURRENT, RESISTANCE, VOLTAGE
from sequencer.documents.parsing import QuantityError
from sequencer.documents.unit import UnitDocument


def test_a_unit_is_read_into_si() -> None:
    unit = UnitDocument.model_validate(UNIT)
    assert unit.ratings.voltage == 30.0
    assert unit.unit.warm_up == 1800.0
    assert unit.ranges[1].unregulated == 42.0
    assert unit.limits[0].unit == "V"


def test_an_allowance_is_a_percentage_of_the_setting_plus_a_fixed_part() -> None:
    allowance = parse_allowance("0.02 % + 2 mV", VOLTAGE)
    assert allowance == Allowance(percent=0.02, fixed=0.002, unit="V")
    assert allowance.resolve(30.0) == pytest.approx(0.008, rel=1e-12)
    assert parse_allowance("1 %", CURRENT).resolve(3.0) == pytest.approx(0.03, rel=1e-12)
    assert parse_allowance("30 mV", VOLTAGE).resolve(30.0) == 0.03
    assert parse_allowance("5 mΩ", RESISTANCE).resolve(30.0) == 0.005


@pytest.mark.parametrize("text", ["0.02%+2mV", "0.02 % +2 mV", "2 mV+ 0.02 %", "2e-2 %+2e+0 mV"])
def test_the_sum_needs_no_spaces(text: str) -> None:
    assert parse_allowance(text, VOLTAGE) == Allowance(percent=0.02, fixed=0.002, unit="V")


@pytest.mark.parametrize(
    ("text", "signed", "says"),
    [
        ("±2 mV", False, "holds for both signs"),
        ("±2 mV", True, "between says on which side"),
        ("≤ 2 mV", False, "says on which side"),
        ("2 mV+", False, "no number and unit"),
        ("2 mV + + 1 %", False, "no number and unit"),
        ("2 mV - 1 %", False, "not known"),
    ],
)
def test_a_bound_has_no_sign_of_comparison(text: str, signed: bool, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_allowance(text, VOLTAGE, signed=signed)
    assert says in caught.value.found


@pytest.mark.parametrize(
    ("bound", "way_out"),
    [
        ("1", 'write "100 %" for the ratio 1, or "1 %" if per cent is meant'),
        ("0.01", 'write "1 %" for the ratio 0.01, or "0.01 %" if per cent is meant'),
    ],
)
def test_a_plain_number_for_a_ratio_is_refused_with_both_that_it_may_mean(
    bound: str, way_out: str
) -> None:
    data = changed(UNIT, "limits", 0, to={"figure": "current_agreement", "at_most": bound})
    found = mistakes(UnitDocument, data)
    assert any(way_out in one for one in found), found


def test_a_plain_number_for_a_voltage_is_no_ratio() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_allowance("1", VOLTAGE)
    assert caught.value.found == '"1" (a number without a unit)'


def test_bounds_come_by_side() -> None:
    def bound(**limit: object) -> tuple[float | None, float | None]:
        data = changed(UNIT, "limits", 0, to={"figure": "limit_current"} | limit)
        return UnitDocument.model_validate(data).limits[0].bound.resolve(3.0)

    assert bound(at_most="3.6 A") == (None, 3.6)
    assert bound(at_least="3 A") == (3.0, None)
    assert bound(between=["3 A", "3.6 A"]) == (3.0, 3.6)


@pytest.mark.parametrize(
    ("definition", "figure"),
    [
        ("from start", "drift"),
        ("span", "drift_span"),
        ("about the mean", "drift_about_mean"),
    ],
)
def test_a_drift_limit_says_which_figure_it_judges(definition: str, figure: str) -> None:
    limit = {"figure": "drift", "definition": definition, "at_most": "30 mV"}
    unit = UnitDocument.model_validate(changed(UNIT, "limits", 0, to=limit))
    assert unit.limits[0].judged_figure == figure


def _limit(**limit: object) -> dict[str, Any]:
    return changed(UNIT, "limits", 0, to=limit)


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(UNIT, "ratings", "voltage", to="-30 V"),
            (
                'ratings.voltage: found "-30 V" (negative), expected a positive '
                "voltage as text with "
                'its unit, such as "30 mV"'
            ),
        ),
        (
            changed(UNIT, "ratings", "current", to="3 V"),
            (
                'ratings.current: found "3 V" (a voltage), expected a positive '
                "current as text with "
                'its unit, such as "3 A"'
            ),
        ),
        (
            changed(UNIT, "ratings", "line_voltage"),
            "ratings.line_voltage: found nothing, expected a value: this key is required",
        ),
        (
            changed(UNIT, "unit", "controll", to="hand"),
            (
                "unit.controll: found an unknown key, expected a key of this table (did you mean "
                '"control"?): control, description, sense_terminals, tag, warm_up'
            ),
        ),
        (
            changed(UNIT, "unit", "control", to="foot"),
            'unit.control: found "foot", expected one of "hand" or "remote"',
        ),
        (
            changed(UNIT, "unit", "sense_terminals", to="yes"),
            'unit.sense_terminals: found "yes", expected true or false',
        ),
        (
            changed(UNIT, "ranges", 1, "voltage_to", to="25 V"),
            "ranges: found a gap above 25 V, expected ranges that cover 0 V to the rated 30 V",
        ),
        (
            changed(UNIT, "ranges", 1, "voltage_from", to="16 V"),
            "ranges: found a gap above 15 V, expected ranges that cover 0 V to the rated 30 V",
        ),
        (
            changed(UNIT, "ranges", 0, "unregulated", to="12 V"),
            (
                'ranges[0] (low).unregulated: found "12 V", expected more than '
                "voltage_to (15 V): the "
                "pass element needs a voltage to drop"
            ),
        ),
        (changed(UNIT, "limits", to=[]), "limits: found an empty list, expected at least 1 entry"),
        (
            _limit(figure="sense_error", at_most="3 mA"),
            (
                'limits[0] (sense_error).at_most: found "3 mA" (a current), expected a positive '
                'voltage, a percentage of the setting, or their sum, as text, such as "30 mV" or '
                '"0.02 % + 30 mV"'
            ),
        ),
        (
            _limit(figure="sense_error", at_most="-3 mV"),
            (
                'limits[0] (sense_error).at_most: found "-3 mV" (a part that is not positive), '
                "expected a positive voltage, a percentage of the setting, or their sum, as text, "
                'such as "30 mV" or "0.02 % + 30 mV"'
            ),
        ),
        (
            _limit(figure="output_resistance", at_most="1 %"),
            (
                'limits[0] (output_resistance).at_most: found "1 %" (a ratio), expected a positive '
                'resistance as text, such as "10 mΩ"'
            ),
        ),
        (
            _limit(figure="sense_error", at_most="3 mV", at_least="1 mV"),
            (
                "limits[0] (sense_error): found at_most and at_least, expected exactly one of "
                "at_most, at_least, between"
            ),
        ),
        (
            _limit(figure="sense_error"),
            (
                "limits[0] (sense_error): found no bound, expected exactly one of "
                "at_most, at_least, "
                "between"
            ),
        ),
        (
            _limit(figure="limit_current", between=["3.6 A", "3 A"]),
            (
                'limits[0] (limit_current).between: found "3.6 A" before "3 A", expected the lower '
                "bound first"
            ),
        ),
        (
            _limit(figure="limit_current", between=["3 A", "3.0 A"]),
            (
                'limits[0] (limit_current).between: found "3 A" before "3.0 A", expected two '
                "bounds apart: a limit without width can't be kept"
            ),
        ),
        (
            _limit(figure="drift", at_most="30 mV"),
            (
                'limits[0] (drift).definition: found nothing, expected one of "from '
                'start", "span", '
                '"about the mean"'
            ),
        ),
        (
            _limit(figure="sense_error", at_most="3 mV", definition="span"),
            (
                'limits[0] (sense_error).definition: found "span", expected no definition: only '
                "drift has one"
            ),
        ),
        (
            _limit(
                figure="sense_error",
                at_most="3 mV",
                condition={"current_from": "3 A", "current_to": "1 A"},
            ),
            (
                'limits[0] (sense_error).condition.current_to: found "1 A", expected more than '
                "current_from (3 A)"
            ),
        ),
        (
            changed(UNIT, "limits", 0, to="drift"),
            'limits[0]: found "drift", expected a table',
        ),
    ],
)
def test_one_mistake_is_one_line(data: dict[str, Any], line: str) -> None:
    assert mistakes(UnitDocument, data) == [line]


def test_an_unknown_figure_is_named_with_the_nearest_known_one() -> None:
    (line,) = mistakes(UnitDocument, _limit(figure="load_regulatoin", at_most="3 mV"))
    assert line.startswith('limits[0] (load_regulatoin).figure: found "load_regulatoin", ')
    assert '(did you mean "load_regulation"?)' in line


def test_all_mistakes_come_at_once() -> None:
    data = changed(UNIT, "ratings", "current", to="3 V")
    data = changed(data, "unit", "colour", to="green")
    data = changed(data, "limits", 0, to={"figure": "drift", "at_most": "3 mA"})
    data = changed(data, "ranges", 1, "unregulated", to="20 V")
    keys = [line.split(": ")[0] for line in mistakes(UnitDocument, data)]
    assert keys == [
        "unit.colour",
        "ratings.current",
        "ranges[1] (high).unregulated",
        "limits[0] (drift).definition",
        "limits[0] (drift).at_most",
    ]


def test_a_document_does_not_change() -> None:
    unit = UnitDocument.model_validate(UNIT)
    with pytest.raises(ValidationError, match="frozen"):
        unit.ratings.voltage = 60.0  # type: ignore[misc]  # that is the point
