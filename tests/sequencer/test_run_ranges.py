"""A range that the meter took larger than asked for counts in the uncertainty, and is said."""

import json
from pathlib import Path

import pytest
from called import steadyrail
from test_documents_whole import _documents, _lines

from sequencer.assemble import result_of
from sequencer.record.files import opened
from sequencer.results import Event
from sequencer.run.event_kinds import RANGE
from sequencer.run.frozen import most_alike
from sequencer.run.ranges import ranges_of, with_ranges

RUN = """
[profile]
name = "quick"
unit = "w-17"
bench = "bench.toml"

[outputs]
report = false

[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
repeats = 2
readings = 2
"""
SHIPPED = Path(__file__).parents[2] / "profiles" / "benches" / "simulated.toml"
STATEMENT = 'accuracy = { error = "0.01 %", display = "40000 counts", noise = "15 µV" }\n'


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            'range = "40 V"',
            'range = "20 V"',
            'channels."voltage.sense".range: found "20 V", expected at least 30 V, as steps reads '
            "up to 30 V there",
        ),
        (
            'range = "100 mV"',
            'range = "20 mV"',
            'channels."current.shunt".range: found "20 mV", expected at least 30 mV, as steps '
            "reads up to 3 A there",
        ),
    ],
)
def test_a_range_too_small_for_a_trial_is_a_mistake_before_anything_is_opened(
    old: str, new: str, line: str
) -> None:
    assert _lines(_documents(bench=(old, new))) == [f"simulated.toml: {line}"]


def test_the_range_in_use_of_a_record_takes_the_place_of_the_one_asked_for() -> None:
    documents = _documents()
    event = Event(0.0, "", RANGE, "note", "", {"channel": "voltage.sense", "range": 100.0})
    other = Event(0.0, "", RANGE, "note", "without detail")
    channels = with_ranges(documents, ranges_of((other, event))).bench.channels
    assert channels["voltage.sense"].range == 100.0
    assert channels["voltage.load"].range == 40.0
    assert with_ranges(documents, ranges_of((other,))) is documents


def run(tmp_path: Path, span: str) -> tuple[float, str, list[tuple[str, str]]]:
    """Run load steps with the sense meter asked for a range.

    Returns U of the load regulation, the range that the result shows, and the events of ranges.
    """
    head, rest = SHIPPED.read_text().split('[channels."voltage.sense"]\n')
    rest = rest[rest.index('[channels."voltage.load"]') :]
    channel = (
        '[channels."voltage.sense"]\ninstrument = "voltmeter_sense"\nfunction = "voltage"\n'
        f'range = "{span}"\nintegration = "100 ms"\n{STATEMENT}\n'
    )
    folder = tmp_path / span.replace(" ", "")
    folder.mkdir()
    (folder / "bench.toml").write_text(head + channel + rest)
    (folder / "profile.toml").write_text(RUN)
    steadyrail("run", "profile.toml", "--record", "r.sqlite", "--json", cwd=folder)
    result = result_of(folder / "r.sqlite")
    (regulation,) = (one for one in result.figures if one.name == "load_regulation")
    (shown,) = (one.range for one in result.bench.channels if one.channel == "voltage.sense")
    with opened(folder / "r.sqlite") as connection:
        rows = connection.execute("SELECT text, detail FROM events WHERE kind = ?", (RANGE,))
        return regulation.expanded, shown, rows.fetchall()


def test_a_larger_range_than_asked_for_is_said_and_counted_with(tmp_path: Path) -> None:
    as_asked, shown, rows = run(tmp_path, "40 V")
    assert (shown, rows) == ("40 V", [])
    # The simulated meter's range above 40 V is 400 V: a digit of 40000 is 10 mV there, not 1 mV.
    larger, shown, ((text, detail),) = run(tmp_path, "50 V")
    assert shown == "400 V"
    assert "voltage.sense: a range of 50 V was asked for, 400 V is in use" in text
    assert json.loads(detail) == {"channel": "voltage.sense", "range": 400.0}
    assert larger > 4 * as_asked


def test_a_meter_whose_step_comes_from_its_display_is_not_taken_for_frozen() -> None:
    bench = _documents().bench
    sense = bench.channels["voltage.sense"]
    coarse = sense.model_copy(
        update={
            "accuracy": sense.accuracy.model_copy(update={"resolution": 0.0, "display": 40000}),
            "range": 400.0,
        }
    )
    found = most_alike(bench.model_copy(update={"channels": {"voltage.sense": coarse}}))
    assert found == {}  # 10 mV steps, 15 µV of noise: it repeats itself all the time
