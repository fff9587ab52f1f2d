"""A promise beyond the unit's own ratings is told when documents are checked."""

from importlib.resources import files
from pathlib import Path

import pytest

from sequencer.documents.check import check_files
from sequencer.documents.load import load_profile
from sequencer.trials.registry import trials

PROFILES = Path(str(files("profiles")))
UNIT = (PROFILES / "units" / "w-17.toml").read_text(encoding="utf-8")
SHORT = 'condition = { voltage = "30 V", load_voltage = "1 V" }'
DRIFT = 'condition = { voltage = "30 V", current_to = "3 A", duration = "8 h" }'


def mistakes(*names: str) -> tuple[str, ...]:
    known = trials()
    found = check_files(
        names,
        settings={name: one.settings for name, one in known.items()},
        needs={name: one.needs for name, one in known.items()},
    )
    return tuple(f"{one.key_path}: found {one.found}, expected {one.expected}" for one in found)


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            DRIFT,
            DRIFT.replace("30 V", "35 V"),
            'limits[7] (drift).condition.voltage: found "35 V", expected at most the unit\'s rated '
            "30 V: ",
        ),
        (
            DRIFT,
            DRIFT.replace("3 A", "3.01 A"),
            'limits[7] (drift).condition.current_to: found "3.01 A", expected at most the unit\'s '
            "rated 3 A: ",
        ),
        (
            DRIFT,
            DRIFT.replace("current_to = ", 'current_from = "4 A", current_to = ').replace(
                '"3 A"', '"5 A"'
            ),
            'limits[7] (drift).condition.current_from: found "4 A", expected at most the unit\'s '
            "rated 3 A: ",
        ),
        (
            SHORT,
            SHORT.replace('"1 V"', '"31 V"'),
            'limits[6] (short_current).condition.load_voltage: found "31 V", expected at most the '
            "unit's rated 30 V: ",
        ),
    ],
)
def test_a_condition_above_a_rating_is_refused_alone_and_in_a_profile(
    tmp_path: Path, old: str, new: str, line: str
) -> None:
    assert old in UNIT
    unit = tmp_path / "unit.toml"
    unit.write_text(UNIT.replace(old, new, 1), encoding="utf-8")
    assert [one for one in mistakes(str(unit)) if one.startswith(line)]
    profile = tmp_path / "profile.toml"
    text = (PROFILES / "acceptance.toml").read_text(encoding="utf-8")
    profile.write_text(text.replace('unit = "w-17"', f'unit = "{unit}"'), encoding="utf-8")
    assert [one for one in mistakes(str(profile)) if one.startswith(line)]
    # As a record holds it, it is read all the same.
    assert load_profile(str(profile)).unit.unit.tag == "W-17"


@pytest.mark.parametrize("unit", ["w-17", "k-24"])
def test_a_promise_up_to_the_ratings_is_none(unit: str) -> None:
    assert mistakes(unit) == ()


@pytest.mark.parametrize(
    ("limit", "line"),
    [
        (
            'figure = "load_regulation"\nat_most = "2 MV"',
            "limits[8] (load_regulation): found a bound of 2 MV, expected at most the unit's rated",
        ),
        (
            'figure = "residual_voltage"\nat_most = "2 V"',
            "limits[8] (residual_voltage).condition.duration: found nothing, expected how long",
        ),
        (
            'figure = "drift"\ndefinition = "span"\nat_most = "2 V"',
            "limits[8] (drift).condition.duration: found nothing, expected over how long it holds",
        ),
        (
            'figure = "drift_corrected"\nat_most = "2 V"',
            "limits[8] (drift_corrected).condition.duration: found nothing, expected over how long",
        ),
        (
            'figure = "line_regulation"\nat_most = "2 mV"',
            'limits[8] (line_regulation).figure: found "line_regulation", expected a figure that '
            "is measured here, which line regulation, dropout, ripple and noise (PARD) and load "
            "transients are not; ",
        ),
    ],
)
def test_what_no_trial_can_judge_is_told(tmp_path: Path, limit: str, line: str) -> None:
    path = tmp_path / "unit.toml"
    path.write_text(f"{UNIT}\n[[limits]]\n{limit}\n", encoding="utf-8")
    (found,) = mistakes(str(path))
    assert found.startswith(line)
