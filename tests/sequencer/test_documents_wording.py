"""Mistakes of type, length and kind are told in our own words: found, where, expected."""

import re
from importlib.resources import files
from pathlib import Path

import pytest

from sequencer.documents.load import read_document
from sequencer.documents.source import Source
from sequencer.documents.trial_names import trial_mistakes
from sequencer.errors import DocumentError
from sequencer.trials.registry import trials

PROFILES = Path(str(files("profiles")))
TEXTS = {
    "unit": (PROFILES / "units" / "w-17.toml").read_text(encoding="utf-8"),
    "bench": (PROFILES / "benches" / "simulated.toml").read_text(encoding="utf-8"),
    "profile": (PROFILES / "acceptance.toml").read_text(encoding="utf-8"),
}
RAW = re.compile(r"\b(should|valid|Input|permitted|parse|error|instance|literal)\b", re.IGNORECASE)
"""Words of pydantic's own sentences."""

BETWEEN = 'between = ["3 A", "3.6 A"]'
LOAD = 'accuracy = { gain = "0.05 %", offset = "3 mA" }'
LINK = 'identity = "WORKSHOP,CLOCK,"'
STEPS = 'trial = "load_steps"'
LIST_OF_TABLES = "a list: each table of it begins with [[load.resistors]]"


def found(kind: str, old: str, new: str) -> list[str]:
    """Return the mistakes of a shipped document in which one text stands in place of another."""
    assert old in TEXTS[kind]
    source = Source(f"{kind}.toml", TEXTS[kind].replace(old, new, 1))
    told = []
    try:
        read_document(source)
    except DocumentError as error:
        told += [str(one).removeprefix(f"{source.path}: ") for one in error.mistakes]
    if kind == "profile":
        models = {name: trial.settings for name, trial in trials().items()}
        more = trial_mistakes(source, None, models, {})
        told += [str(one).removeprefix(f"{source.path}: ") for one in more]
    return list(dict.fromkeys(told))


CASES = [
    (
        "unit",
        BETWEEN,
        'between = { a = "3 A" }',
        "limits[3] (limit_current).between: found a table, expected a list of two, such as "
        '["3 A", "3.6 A"]',
    ),
    (
        "bench",
        'make_safe = ["load", "supply"]',
        'make_safe = { first = "load" }',
        "bench.make_safe: found a table, expected a list",
    ),
    ("unit", 'tag = "W-17"', "tag = 17", "unit.tag: found 17, expected text"),
    (
        "unit",
        BETWEEN,
        "between = [3, 3.6]",
        "limits[3] (limit_current).between[0]: found 3 (a number without a unit), expected a "
        "positive current, a percentage of the setting, or their sum, as text, such as "
        '"3 A" or "0.02 % + 3 A"',
    ),
    (
        "unit",
        'at_most = "5 mΩ"',
        "at_most = 5",
        "limits[1] (output_resistance).at_most: found 5 (a number without a unit), expected a "
        'positive resistance as text, such as "10 mΩ"',
    ),
    (
        "unit",
        BETWEEN,
        'between = "3 A to 3.6 A"',
        'limits[3] (limit_current).between: found "3 A to 3.6 A", expected a list of two, such '
        'as ["3 A", "3.6 A"]',
    ),
    (
        "unit",
        BETWEEN,
        'between = ["3 A"]',
        "limits[3] (limit_current).between[1]: found nothing, expected one more entry in this list",
    ),
    (
        "unit",
        BETWEEN,
        'between = ["3 A", "3.2 A", "3.6 A"]',
        "limits[3] (limit_current).between: found a list of 3, expected at most 2 entries",
    ),
    (
        "unit",
        "[ratings]",
        "[[ratings]]",
        "ratings: found a list, expected a table",
    ),
    (
        "profile",
        "[[trials]]",
        'outputs = "html"\n[[trials]]',
        "profile.outputs: found an unknown key, expected a key of this table: bench, "
        "description, name, rule, typed_at_most, unit",
    ),
    (
        "profile",
        "[[trials]]",
        "[outputs]\nreport = 1\n[[trials]]",
        "outputs.report: found 1, expected true or false",
    ),
    (
        "profile",
        STEPS,
        STEPS + '\nfractions = ["50 %", "100 %"]',
        "trials[1] (load_steps).fractions: found a list of 2, expected at least 3 entries",
    ),
    (
        "profile",
        STEPS,
        STEPS + "\nreadings = 5000",
        "trials[1] (load_steps).readings: found 5000, expected 1000 or less",
    ),
    (
        "profile",
        STEPS,
        'trial = "soak"\nduration = "800 h"\nperiod = "1 ms"',
        "trials[1] (soak).period: found 2.9e+09 readings of each channel, expected at most 3e+06: "
        "a longer period or a shorter duration",
    ),
    ("bench", "seed = 1", 'seed = "1"', 'simulation.seed: found "1", expected a whole number'),
    (
        "bench",
        'make_safe = ["load", "supply"]',
        "make_safe = []",
        "bench.make_safe: found an empty list, expected at least 1 entry",
    ),
    (
        "bench",
        LOAD,
        'accuracy = { gain = "0.05 %", calibrated = "last May" }',
        'channels."current.load".accuracy.calibrated: found "last May", expected a date, such as '
        "2026-05-01",
    ),
    (
        "bench",
        LOAD,
        "accuracy = { calibrated = 2026-05-01T10:00:00 }",
        'channels."current.load".accuracy.calibrated: found datetime 2026-05-01 10:00:00, '
        "expected a date without a time, such as 2026-05-01",
    ),
    (
        "bench",
        LOAD,
        'accuracy = { calibrated = 2026-05-01, certificate = { gain_uncertainty = "1 ppm", '
        'k = "two" } }',
        'channels."current.load".accuracy.certificate.k: found "two", expected a number',
    ),
    (
        "bench",
        'range = "40 V"',
        'range = "40 V"\nleads = "somewhere"',
        'channels."voltage.sense".leads: found "somewhere", expected one of "sense terminals", '
        '"load terminals" or "output terminals"',
    ),
    (
        "bench",
        LINK,
        'link = { write_terminator = "abc" }',
        'instruments.clock.link.write_terminator: found "abc", expected text of at most 2 '
        "characters",
    ),
    (
        "bench",
        LINK,
        "link = { stop_bits = 1.3 }",
        "instruments.clock.link.stop_bits: found 1.3, expected a multiple of 0.5",
    ),
    (
        "bench",
        LINK,
        'link = { stop_bits = "two" }',
        'instruments.clock.link.stop_bits: found "two", expected a number',
    ),
    (
        "bench",
        'lowest_voltage = "0.8 V"',
        'lowest_voltage = "0.8 V"\nresistors = { resistance = "25 Ω" }',
        f"load.resistors: found a table, expected {LIST_OF_TABLES}",
    ),
]


@pytest.mark.parametrize(("kind", "old", "new", "line"), CASES, ids=[one[3][:60] for one in CASES])
def test_a_mistake_is_told_once_in_plain_words(kind: str, old: str, new: str, line: str) -> None:
    lines = found(kind, old, new)
    assert lines.count(line) == 1, lines
    place = line.partition(":")[0]
    assert [one.partition(":")[0] for one in lines].count(place) == 1
    assert not [one for one in lines if RAW.search(one.replace(new, ""))]


@pytest.mark.parametrize("broken", ['"none"', "[]", "{}", "3"])
def test_instruments_that_are_none_are_told_in_one_line(broken: str) -> None:
    text = re.sub(r"\[instruments\.\w+\]\n(\w.*\n)+", "", TEXTS["bench"])
    source = Source("bench.toml", f"instruments = {broken}\n{text}")
    with pytest.raises(DocumentError) as error:
        read_document(source)
    (mistake,) = error.value.mistakes
    assert mistake.key_path == "instruments"
