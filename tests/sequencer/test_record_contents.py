"""What is written to a record comes out of it again."""

from math import isnan
from pathlib import Path

import numpy as np
import pytest
from record_samples import (
    APPLY,
    CUT_OFF,
    DOCUMENTS,
    READ,
    SETTLE,
    WALL,
    arrays,
    new_writer,
    tick,
    write_run,
)

from sequencer.errors import RecordError
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.requests import Applied, Note, Readings


def equal(left: Readings, right: Readings) -> bool:
    for name in ("asked", "answered", "value"):
        one, other = getattr(left, name), getattr(right, name)
        if list(one) != list(other):
            return False
        if not all(np.array_equal(one[c], other[c], equal_nan=True) for c in one):
            return False
    return True


def test_requests_replies_and_readings_come_back(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    writer = new_writer(path)
    write_run(writer)
    writer.close()
    with RecordReader.open(path) as reader:
        apply, settle, read, cut = reader.steps(0)
        assert reader.steps(1) == ()
    assert (apply.request, settle.request, read.request) == (APPLY, SETTLE, READ)
    assert apply.reply == Applied(1.5, {"level": 3.0, "on": True})
    assert settle.readings.value["voltage.sense"].tolist() == [30.0]
    assert isinstance(read.reply, Readings)
    assert equal(read.reply, arrays(3))
    assert isnan(read.reply.value["voltage.load"][2])
    assert (cut.request, cut.reply) == (CUT_OFF, None)
    assert equal(cut.readings, arrays(2))


def test_all_else_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    with new_writer(path, notes=["a", 1.5, None]) as writer:
        write_run(writer)
    with RecordReader.open(path) as reader:
        assert reader.documents == DOCUMENTS
        assert reader.versions == {"steadyrail": "0.1.0"}
        assert reader.options == {"seed": 7, "notes": ("a", 1.5, None)}
        assert reader.identities == {"load": "WORKSHOP,LOAD-A,SIM0001,1.0"}
        assert [(t.index, t.name, t.settings_json) for t in reader.trials] == [
            (0, "soak", '{"hours":8}')
        ]
        late, stopped = reader.events
        assert (reader.started, reader.ended) == (WALL, WALL)
        assert (reader.result, reader.seal) == (None, None)
    assert (late.at, late.wall, late.kind, late.severity) == (11.0, WALL, "late", "warning")
    assert (late.text, late.detail) == ("1 of 3 readings came too late: 30 V µΩ", {"count": 1})
    assert isnan(stopped.at)
    assert stopped.detail == {"exit": 4}


def test_the_table_of_readings_holds_every_row_with_its_raw_text(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    with new_writer(path) as writer:
        write_run(writer)
    with RecordReader.open(path) as reader:
        frame = reader.frame()
    assert len(frame) == 1 + 3 * 3 + 2 * 2
    assert set(frame["role"]) == {"settle", "read", "watch"}
    over = frame[frame["flag"] == "overload"]
    assert over["raw"].tolist() == ["9.9E37"]
    assert over["value"].isna().all()
    assert frame["asked_at_s"].dtype == frame["value"].dtype == np.float64


def test_a_run_is_ended_only_when_its_writer_says_so(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    writer = new_writer(path)
    writer.begin_trial(0, "soak", "{}")
    writer.close(ended=False)
    with RecordReader.open(path) as reader:
        assert reader.ended == ""
    with RecordWriter.reopen(path, wall=lambda: "later") as again:
        again.begin_trial(0, "soak", "{}")
    with RecordReader.open(path) as reader:
        assert (reader.started, reader.ended) == (WALL, "later")


def test_a_resumed_run_that_was_cut_off_is_not_ended(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    with new_writer(path) as writer:
        writer.begin_trial(0, "soak", "{}")
    again = RecordWriter.reopen(path)
    again.begin_trial(0, "soak", "{}")
    with RecordReader.open(path) as reader:
        assert reader.ended == ""
    again.close(ended=False)


def test_numbers_go_on_after_reopening(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    with new_writer(path) as writer:
        write_run(writer)
    with RecordWriter.reopen(path) as again:
        again.begin_trial(0, "soak", '{"hours":8}')
        seq = again.begin_request(CUT_OFF, 20.0)
        again.add_readings(seq, 0, tick(0))
        again.add_readings(seq, 1, tick(1))
        again.end_request(seq, arrays(2))
    with RecordReader.open(path) as reader:
        *_, cut, done = reader.steps(0)
    assert (cut.seq, cut.reply, done.seq) == (4, None, 5)
    assert isinstance(done.reply, Readings)
    assert equal(done.reply, arrays(2))


def test_another_trial_at_the_same_place_is_refused(tmp_path: Path) -> None:
    with new_writer(tmp_path / "run.sqlite") as writer:
        writer.begin_trial(0, "soak", "{}")
        with pytest.raises(RecordError, match="start a new run"):
            writer.begin_trial(0, "load_steps", "{}")


def test_odd_texts_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    odd = "nul \x00, stray \udc80, \U0001f600"
    with new_writer(path) as writer:
        writer.begin_trial(0, "soak", "{}")
        writer.begin_request(Note(odd), 0.0)
        writer.event(0.0, "remark", "note", odd)
    with RecordReader.open(path) as reader:
        assert reader.steps(0)[0].request == Note(odd)
        assert reader.events[0].text == "nul \x00, stray \\udc80, \U0001f600"


def test_readings_wait_no_longer_than_a_batch(tmp_path: Path) -> None:
    now = 0.0
    writer = new_writer(tmp_path / "run.sqlite", monotonic=lambda: now)
    writer.begin_trial(0, "soak", "{}")
    seq = writer.begin_request(READ, 0.0)
    writer.add_readings(seq, 0, tick(0))
    now = 0.9
    writer.add_readings(seq, 1, tick(1))
    assert writer.acknowledged == 0
    now = 1.1
    writer.add_readings(seq, 2, tick(2))
    assert writer.acknowledged == 6
    now = 2.0
    writer.add_readings(seq, 3, tick(3))
    assert writer.acknowledged == 6
    writer.event(0.0, "late", "note", "x")
    assert writer.acknowledged == 8
    writer.close()


def test_an_apply_is_on_the_disk_before_it_is_carried_out(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    writer = new_writer(path)
    writer.begin_trial(0, "soak", "{}")
    writer.begin_request(APPLY, 0.0)
    with RecordReader.open(path) as reader:
        assert [step.request for step in reader.steps(0)] == [APPLY]
    writer.close()
