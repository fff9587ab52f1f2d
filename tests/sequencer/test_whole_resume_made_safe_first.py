"""A run that can't go on leaves no bench energised: what answers as before is made safe first."""

import json
import os
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from bench_apart import PROFILE, Apart, apart, committed, events
from called import steadyrail
from kills import killed

from sequencer.command_line import resume as command
from sequencer.command_line.read_back import Kept
from sequencer.documents.load import Documents, load_profile
from sequencer.errors import BenchFailed, Exit
from sequencer.record.hold import hold
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter
from sequencer.requests import Apply, LoadState
from sequencer.run.bench_lock import Owner, lock_file
from sequencer.run.event_kinds import MAKE_SAFE, STOPPED
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.start import NAME, NUMBER

RECORD = "run.sqlite"
WORDS = ("resume", RECORD, "--cautions-read")
ANOTHER = "WORKSHOP,ANOTHER,7,1"
ASKED = (
    "Set the output voltage to 30.000 V.",
    "Turn the current limit fully up.",
    "Switch the output on.",
)


def energised(table: Apart) -> bool:
    load, volts, amperes = table.energy()
    return load == "1" and volts > 20.0 and amperes > 0.5


def energise(table: Apart) -> None:
    """Let the person switch on and the load draw, as a run does that then crashed."""
    for sentence in ASKED:
        table.ask("person", f'OPERator:INSTruct "{sentence}";:OPERator:STATe?')
        table.ask("clock", "CLOCk:ADVance 120;:CLOCk:TIME?")
        table.ask("person", "OPERator:FINish;:OPERator:STATe?")
    table.ask("load", "CURRent 1;:INPut ON;:INPut?")
    assert energised(table)


def crashed(table: Apart, identities: Mapping[str, str]) -> Path:
    """Make the record of a run that has set the load and then was gone."""
    documents = load_profile(table.folder / "profile.toml")
    path = table.folder / RECORD
    writer = RecordWriter.create(
        path,
        documents={
            kind: (source.path, source.text)
            for kind, source in (
                ("unit", documents.unit_source),
                ("bench", documents.bench_source),
                ("profile", documents.profile_source),
            )
        },
        versions={},
        options={},
    )
    writer.identities(identities)
    writer.begin_trial(NUMBER, NAME, "{}")
    writer.begin_request(Apply(LoadState("current", 1.0, on=True)), 1.0)
    writer.close(ended=False)
    return path


def test_documents_that_were_changed_after_a_crash(tmp_path: Path) -> None:
    with apart(tmp_path, profile=PROFILE) as table:
        killed(table, tmp_path / RECORD)
        before = committed(tmp_path / RECORD)
        table.ask("load", "CURRent 1;:INPut ON;:INPut?")
        with (tmp_path / "profile.toml").open("a") as profile:
            profile.write("\n# another hand\n")

        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert code == 2, said
        assert "profile document" in said
        assert "The bench may still be energised: making it safe first" in said
        assert "First: Made safe, verified" in said
        assert table.without_energy()
        assert committed(tmp_path / RECORD) == before
        last = events(tmp_path / RECORD)[-1]
        assert last[0] == "make safe"
        assert last[1].startswith("Before a refused resume: Made safe, verified")

        told = len(events(tmp_path / RECORD))
        code, _ = table.finish(*WORDS)  # now the record says that nothing is left to be done
        assert code == 2
        assert len(events(tmp_path / RECORD)) == told


def test_another_load_is_sent_nothing_and_the_rest_is_made_safe(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        energise(table)
        crashed(table, {"load": ANOTHER})
        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert code == 5, said
        assert f"then '{ANOTHER}'" in said
        assert "Nothing was sent to it but the question who it is." in said
        assert "Switch whatever is connected as the load off at its own panel" in said
        assert "NOT VERIFIED" in said
        load, volts, _ = table.energy()
        assert load == "1", "it was commanded, though nobody knows what it is"
        assert volts < 2.0, "the supply was not made safe"


def test_another_voltmeter_is_not_believed_and_the_rest_is_made_safe(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        energise(table)
        crashed(table, {"voltmeter_load": ANOTHER})
        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert code == 2, said
        assert "trust no reading of it" in said
        assert "First: Made safe, verified" in said
        assert table.without_energy()


def test_where_no_meter_of_the_record_is_left_nothing_is_proven(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        energise(table)
        crashed(table, dict.fromkeys(("voltmeter_sense", "voltmeter_terminals"), ANOTHER))
        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert code == 5, said
        assert "no channel is there to prove it" in said
        table.ask("clock", "CLOCk:ADVance 600;:CLOCk:TIME?")  # what is left in capacitors
        assert table.without_energy(), "it was not even tried"


@pytest.mark.parametrize("alarm", [True, False])
def test_what_was_proven_to_be_without_energy_is_left_alone(tmp_path: Path, *, alarm: bool) -> None:
    with apart(tmp_path) as table:
        path = crashed(table, {"load": ANOTHER})
        with RecordWriter.reopen(path) as writer:
            writer.event(9.0, "make safe", "alarm" if alarm else "note", "By the guardian.")
        energise(table)  # by somebody else
        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert (code, "making it safe first" in said) == ((5, True) if alarm else (2, False)), said
        assert energised(table) is not alarm


def test_a_record_that_can_not_be_written(tmp_path: Path) -> None:
    """As on a disk that was remounted read-only; here another process holds it."""
    with apart(tmp_path) as table:
        energise(table)
        record = crashed(table, {})
        before = committed(record)
        held = hold(record)
        try:
            code, _ = table.finish(*WORDS)
        finally:
            os.close(held)
        said = " ".join(table.errors().split())
        assert code == 2, said
        assert "is being written by another process" in said
        assert "First: Made safe, verified" in said
        assert table.without_energy()
        assert committed(record) == before


def test_what_is_written_while_a_person_reads_the_cautions_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run goes on, or its guardian writes, after the record was read and before it is held."""
    monkeypatch.setenv("STEADYRAIL_STATE", str(tmp_path / "locks"))
    monkeypatch.chdir(tmp_path)
    kept: list[Kept] = []
    real = command.read_back

    def reads(record: Path) -> Kept:
        kept.append(real(record))
        return kept[-1]

    def meanwhile(*_: object, **__: object) -> None:
        with RecordWriter.reopen(tmp_path / RECORD) as writer:
            writer.begin_trial(NUMBER, NAME, "{}")
            writer.begin_request(Apply(LoadState("current", 1.0, on=True)), 2000.0)

    def goes_on(*_: object) -> None:
        raise BenchFailed("it would have gone on")

    monkeypatch.setattr(command, "read_back", reads)
    monkeypatch.setattr(command, "tell_cautions", meanwhile)
    monkeypatch.setattr(command, "perform_on", goes_on)
    with apart(tmp_path) as table:
        crashed(table, {})
        done = steadyrail("resume", RECORD, cwd=tmp_path)
    assert done.returncode == 5
    assert len(kept) == 2
    assert kept[0].head != kept[1].head
    assert kept[0].bench_time_s < kept[1].bench_time_s == 2000.0
    assert "it would have gone on" in done.stderr


def test_a_run_that_energised_the_bench_meanwhile_and_died_is_known_by_its_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another resume went on while a person read the cautions, and nobody was left to make safe."""
    monkeypatch.setenv("STEADYRAIL_STATE", str(tmp_path / "locks"))
    monkeypatch.chdir(tmp_path)
    with apart(tmp_path) as table, ExitStack() as stack:
        with RecordWriter.reopen(crashed(table, {})) as writer:
            writer.event(1.0, MAKE_SAFE, "note", "Made safe, verified", {"verified": 1})
        (tmp_path / "locks").mkdir()

        def meanwhile(documents: Documents, *_: object, **__: object) -> None:
            job = safe_job_of(documents.bench, tmp_path / RECORD)
            dead = replace(Owner.here(job), pid=1, started="0")
            for address in job.addresses:
                lock_file(address).write_text(json.dumps(asdict(dead)))
            energise(table)
            stack.callback(os.close, hold(tmp_path / RECORD))

        monkeypatch.setattr(command, "tell_cautions", meanwhile)
        done = steadyrail("resume", RECORD, cwd=tmp_path)
        assert done.returncode == 2, done.stderr
        assert "First: Made safe, verified" in " ".join(done.stderr.split())
        assert table.without_energy()
        assert not any(path.read_text() for path in (tmp_path / "locks").iterdir())


def test_what_a_guard_stopped_is_not_gone_on_with_and_sealed(tmp_path: Path) -> None:
    """Also where the run was killed between its making safe and its seal."""
    with apart(tmp_path) as table:
        with RecordWriter.reopen(crashed(table, {})) as writer:
            told = {"exit": int(Exit.GUARD), "guard": "time.on", "reason": "above"}
            writer.event(1.0, STOPPED, "alarm", "time.on was 61 min.", told)
            writer.event(1.0, MAKE_SAFE, "note", "Made safe, verified", {"verified": 1})
        code, _ = table.finish(*WORDS)
        said = " ".join(table.errors().split())
        assert code == 2, said
        assert "A guard stopped this run: time.on was 61 min. It is not gone on with." in said
        assert verify(tmp_path / RECORD).intact
        assert table.ask("load", "INPut?") == "0"
