"""A record holds how each instrument was spoken to, and a run goes on only if that is the same."""

import json
import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from drivers.dialect_files import read_dialect
from drivers.resolved import resolved_dialects, same_dialect
from drivers.roles import BenchSpec, InstrumentSpec
from sequencer.assemble import bench_summary
from sequencer.dialect_words import KIND
from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import load_profile
from sequencer.errors import UsageError
from sequencer.run.spoken import refuse_other_words, software, spoken

OWN = 'inherits = "scpi-voltmeter"\ndescription = "counts in millivolts"\n'
MILLIVOLTS = "[questions.voltage]\nask = 'VAL?'\nsuffixes = { mV = 1e-3 }\n"


@pytest.fixture
def bench() -> BenchDocument:
    return load_profile("acceptance").bench


def with_dialect(bench: BenchDocument, path: Path) -> BenchDocument:
    name = "voltmeter_sense"
    one = bench.instruments[name].model_copy(update={"dialect": str(path)})
    return bench.model_copy(update={"instruments": {**bench.instruments, name: one}})


def test_the_whole_of_a_dialect_is_kept_with_what_it_inherits_and_the_link_s_own(
    tmp_path: Path,
) -> None:
    path = tmp_path / "my-meter.toml"
    path.write_text(OWN + MILLIVOLTS)
    link = {"pause": 0.02, "error_queue": False}
    spec = BenchSpec((InstrumentSpec("meter", "voltmeter", str(path), "x", link=link),), ())
    where, text = resolved_dialects(spec)["meter"]
    whole = json.loads(text)
    assert where == str(path)
    assert whole["questions"]["voltage"]["suffixes"] == {"mV": 1e-3}
    assert whole["settings"]["voltage_range"]["write"]  # inherited
    assert whole["link"]["pause"] == 0.02
    assert whole["errors"] is None


def test_a_dialect_is_the_same_by_what_it_says(tmp_path: Path) -> None:
    texts = []
    for number, own in enumerate((MILLIVOLTS, MILLIVOLTS + "\n# a remark\n", "")):
        path = tmp_path / f"{number}.toml"
        path.write_text(OWN + own)
        spec = BenchSpec((InstrumentSpec("meter", "voltmeter", str(path), "x"),), ())
        texts.append(resolved_dialects(spec)["meter"][1])
    assert same_dialect(texts[0], texts[1])
    assert not same_dialect(texts[0], texts[2])


def test_every_instrument_of_a_bench_is_kept_and_shown(bench: BenchDocument) -> None:
    documents = spoken(bench)
    assert set(documents) == {KIND + name for name in bench.instruments}
    rows = bench_summary(bench, {}, documents).instruments
    assert all(row.dialect.startswith(bench.instruments[row.name].dialect) for row in rows)
    digests = {row.name: row.dialect.split(", ")[-1] for row in rows}
    assert digests["voltmeter_sense"] == digests["voltmeter_load"] != digests["load"]
    refuse_other_words(bench, documents)


def test_a_changed_lost_or_unknown_dialect_is_refused_by_name(
    bench: BenchDocument, tmp_path: Path
) -> None:
    path = tmp_path / "my-meter.toml"
    path.write_text(OWN + MILLIVOLTS)
    own = with_dialect(bench, path)
    kept = spoken(own)
    refuse_other_words(own, kept)
    read_dialect.cache_clear()  # a run that goes on is another process
    path.write_text(OWN)
    with pytest.raises(UsageError, match=r"voltmeter_sense was spoken to by .*my-meter.toml"):
        refuse_other_words(own, kept)
    read_dialect.cache_clear()
    path.unlink()
    with pytest.raises(UsageError, match="no dialect"):
        refuse_other_words(own, kept)
    unreadable = {KIND + "load": ("scpi-load", "{}")}
    with pytest.raises(UsageError, match="load was spoken to"):
        refuse_other_words(bench, unreadable)
    refuse_other_words(own, {"unit": ("a", "b")})  # older than this


def test_the_software_of_a_bench_names_the_program(bench: BenchDocument) -> None:
    assert software(bench)["steadyrail"] == version("steadyrail")


def test_the_text_of_a_dialect_does_not_depend_on_the_process() -> None:
    code = (
        "from drivers.resolved import resolved_dialects as r; from drivers.roles import *; "
        "s = InstrumentSpec('m', 'voltmeter', 'scpi-voltmeter-units', 'x'); "
        "print(r(BenchSpec((s,), ()))['m'][1])"
    )
    texts = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(texts) == 1
