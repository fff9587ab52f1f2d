"""Wrong values at every place of every document: found and expected in our own words."""

import datetime as dt
import re
from collections.abc import Iterator
from typing import Any

import pytest
from documents_made_up import BENCH, PROFILE, UNIT, changed, mistakes

from sequencer.documents.bench import BenchDocument
from sequencer.documents.profile import ProfileDocument, TrialEntry
from sequencer.documents.tables import Strict
from sequencer.documents.trial_names import alone
from sequencer.documents.unit import UnitDocument
from sequencer.trials.registry import trials

SENSE = ("channels", "voltage.sense")
FULL_BENCH = changed(
    changed(
        changed(BENCH, *SENSE, "accuracy", "calibrated", to=dt.date(2026, 5, 1)),
        *(*SENSE, "leads"),
        to="sense terminals",
    ),
    *("instruments", "meter", "link"),
    to={"read_terminator": "x", "baud_rate": 9600, "pause": "1 ms"},
)
FULL_PROFILE = changed(PROFILE, "outputs", to={"report": True, "readings_csv": False})
WRONG = (
    3,
    -1,
    1.5,
    float("nan"),
    10**30,
    10**4000,
    "9" * 5000,
    True,
    "",
    "x",
    "y" * 99,
    [],
    {},
    [3],
    {"q": 1},
)
WRONG += (dt.date(2026, 5, 1), dt.datetime(2026, 5, 1, 12))  # noqa: DTZ001  # as TOML
RAW = re.compile(r"[Ii]nput|valid |should |value error|unable to")
"""What the validating library says."""


def places(node: Any, *path: str | int) -> Iterator[tuple[str | int, ...]]:
    if path:
        yield path
    entries = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in entries:
        if isinstance(value, dict | list):
            yield from places(value, *path, key)
        else:
            yield (*path, key)


@pytest.mark.parametrize(
    ("model", "document"),
    [(UnitDocument, UNIT), (BenchDocument, FULL_BENCH), (ProfileDocument, FULL_PROFILE)],
)
def test_no_wrong_value_at_any_place_is_answered_in_another_librarys_words(
    model: type[Strict], document: dict[str, Any]
) -> None:
    lines = [
        line
        for path in places(document)
        for value in WRONG
        for line in mistakes(model, changed(document, *path, to=value))
    ]
    assert len(lines) > 100
    assert [line for line in lines if RAW.search(line)] == []


def test_nor_is_any_setting_of_any_trial() -> None:
    models = {name: trial.settings for name, trial in trials().items()}
    for name, model in models.items():
        for key in model.model_fields:
            for value in WRONG:
                entry = TrialEntry.model_validate({"trial": name, key: value})
                for flaw in alone(entry, models):
                    assert not RAW.search(flaw.expected), (name, key, value, flaw)
