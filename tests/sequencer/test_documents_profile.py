"""The profile document."""

from typing import Any

import pytest
from documents_made_up import PROFILE, changed, mistakes

from sequencer.documents.profile import ProfileDocument


def test_a_profile_has_careful_defaults() -> None:
    profile = ProfileDocument.model_validate(PROFILE)
    assert profile.profile.rule == "guarded"
    assert (profile.outputs.report, profile.outputs.readings_csv) == (True, False)
    assert profile.trials[0].trial == "steps"
    assert dict(profile.trials[0].settings) == {"voltage": "30 V", "current": "3 A"}


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(PROFILE, "profile", "rule", to="lenient"),
            'profile.rule: found "lenient", expected one of "guarded" or "simple"',
        ),
        (
            changed(PROFILE, "profile", "unit"),
            "profile.unit: found nothing, expected a value: this key is required",
        ),
        (
            changed(PROFILE, "outputs", to={"report": 1}),
            "outputs.report: found 1, expected true or false",
        ),
        (
            changed(PROFILE, "trials", to=[]),
            "trials: found an empty list, expected at least 1 entry",
        ),
        (
            changed(PROFILE, "trials", to=[{"voltage": "30 V"}]),
            "trials[0].trial: found nothing, expected a value: this key is required",
        ),
        (
            changed(PROFILE, "trials", to=PROFILE["trials"] * 2),
            (
                'trials[1] (steps).trial: found "steps", expected each trial '
                "once (put a second one "
                "into a profile of its own)"
            ),
        ),
        (
            changed(PROFILE, "guards", to={"speed.fan": {"at_most": "100 W"}}),
            (
                'guards."speed.fan": found "speed.fan", expected a channel '
                "whose name begins with "
                "voltage, current, temperature, line, or power.load, power.unit, time.on, "
                "departure.voltage, departure.current, missing.current"
            ),
        ),
        (changed(PROFILE, "trials", to="steps"), 'trials: found "steps", expected a list'),
    ],
)
def test_one_mistake_is_one_line(data: dict[str, Any], line: str) -> None:
    assert mistakes(ProfileDocument, data) == [line]
