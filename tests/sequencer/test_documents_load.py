"""Finding and reading documents: three files, all mistakes at once."""

import os
from pathlib import Path

import pytest
from called import steadyrail
from documents_made_up import NEEDS, SETTINGS

from sequencer.documents.check import check_files
from sequencer.documents.find import KINDS, Kind, shipped
from sequencer.documents.load import Source, documents_from, load_profile, read_document
from sequencer.errors import DocumentError, Exit

PROFILE = """
[profile]
name = "mine"
unit = "{unit}"
bench = "{bench}"

[[trials]]
trial = "steps"
voltage = "30 V"
current = "3 A"
"""


def _profile(folder: Path, *, unit: str = "w-17", bench: str = "simulated", more: str = "") -> Path:
    path = folder / "mine.toml"
    path.write_text(PROFILE.format(unit=unit, bench=bench) + more, encoding="utf-8")
    return path


def _mistakes(path: Path | str, *, unit: str | None = None, bench: str | None = None) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        load_profile(path, unit=unit, bench=bench)
    assert caught.value.exit_code == Exit.WRONG_USE
    return [str(mistake) for mistake in caught.value.mistakes]


def test_a_shipped_profile_comes_with_its_unit_and_bench() -> None:
    documents = load_profile("acceptance")
    assert documents.unit.unit.tag == "W-17"
    assert documents.bench.bench.name == "simulated"
    assert [entry.trial for entry in documents.profile.trials] == [
        "sense_check",
        "load_steps",
        "limit_sweep",
    ]
    assert documents.unit_source.path.endswith("units/w-17.toml")
    assert documents.unit_source.text.startswith("#")


def test_the_texts_of_a_record_give_the_same_documents() -> None:
    documents = load_profile("overnight")
    again = documents_from(documents.unit_source, documents.bench_source, documents.profile_source)
    assert again == documents


def test_paths_in_a_profile_start_from_the_profile(tmp_path: Path) -> None:
    (tmp_path / "our-unit.toml").write_text(
        shipped("unit")["w-17"].read_text("utf-8").replace("W-17", "W-18"), encoding="utf-8"
    )
    assert load_profile(_profile(tmp_path, unit="our-unit.toml")).unit.unit.tag == "W-18"


def test_another_unit_and_bench_can_take_the_place_of_the_profiles(tmp_path: Path) -> None:
    path = _profile(tmp_path, unit="nowhere.toml", bench="nowhere")
    documents = load_profile(path, unit="w-17", bench="simulated-apart")
    assert documents.bench.simulation is None


def test_a_windows_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = PROFILE.format(unit="w-17", bench="simulated").replace("\n", "\r\n")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert load_profile(path).profile.profile.name == "mine"


def test_a_missing_profile_is_named_with_the_shipped_ones() -> None:
    assert _mistakes("acceptence") == [
        (
            'acceptence: (the whole file): found "acceptence", expected the path of a '
            "profile file, "
            'or a shipped profile (did you mean "acceptance"?): acceptance, overnight'
        )
    ]
    (line,) = _mistakes("nowhere/mine.toml")
    assert 'found "nowhere/mine.toml" (no such file: nowhere/mine.toml)' in line


def test_a_missing_unit_is_named_where_the_profile_names_it(tmp_path: Path) -> None:
    path = _profile(tmp_path, unit="w-71", bench="benches/ours.toml")
    unit, bench = _mistakes(path)
    assert unit.startswith(f'{path}: profile.unit: found "w-71", expected the path of a unit file')
    assert 'did you mean "w-17"?' in unit
    where = tmp_path / "benches/ours.toml"
    assert f'profile.bench: found "benches/ours.toml" (no such file: {where})' in bench


def test_the_mistakes_of_all_three_files_come_at_once(tmp_path: Path) -> None:
    names: dict[Kind, str] = {"unit": "w-17", "bench": "simulated-apart"}
    for kind, name in names.items():
        text = shipped(kind)[name].read_text("utf-8")
        text = text.replace('current = "3 A"', 'current = "3 V"', 1)
        text = text.replace('power = "150 W"', 'power = "-150 W"', 1)
        (tmp_path / f"{kind}.toml").write_text(text, encoding="utf-8")
    path = _profile(tmp_path, unit="unit.toml", bench="bench.toml", more="colour = 1\n")
    path.write_text(path.read_text("utf-8").replace("[[trials]]", "shade = 2\n[[trials]]"), "utf-8")
    lines = _mistakes(path)
    assert [line.split(": ")[:2] for line in lines] == [
        [str(path), "profile.shade"],
        [str(tmp_path / "unit.toml"), "ratings.current"],
        [str(tmp_path / "bench.toml"), "load.power"],
    ]


def test_broken_toml_is_placed_by_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('[profile]\nname = "mine\n', encoding="utf-8")
    (line,) = _mistakes(path)
    assert line.startswith(f"{path}: line 2, column 13: found broken TOML (")
    assert line.endswith("expected valid TOML")


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("9" * 5000, "found an integer of more than 60 digits"),
        ("9" * 61, "found an integer of more than 60 digits"),
        ("0x" + "F" * 5000, "found an integer of more than 60 digits"),
        ("[" * 3000 + "]" * 3000, "found too many nested lists"),
    ],
)
def test_no_number_is_too_long_and_no_list_too_deep_to_be_told(
    tmp_path: Path, value: str, says: str
) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(f"[profile]\nname = {value}\n", encoding="utf-8")
    (line,) = _mistakes(path)
    assert line.startswith(f"{path}: (the whole file): {says}")
    done = steadyrail("check", str(path), cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, f"{line}\n")


def test_keys_that_are_nested_deep_are_only_unknown(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(f"[profile]\n{'.'.join('a' * 2000)} = 1\n", encoding="utf-8")
    assert any("profile.a: found an unknown key" in line for line in _mistakes(path))


def test_a_key_that_stands_twice_is_broken_toml(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('[profile]\nname = "a"\nname = "b"\n', encoding="utf-8")
    (line,) = _mistakes(path)
    assert "Cannot overwrite a value" in line


def test_a_file_of_another_kind_is_refused() -> None:
    (line,) = _mistakes("acceptance", unit=str(shipped("bench")["simulated"]))
    assert line.endswith("(the whole file): found a bench document, expected a unit")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "found nothing, expected exactly one of the tables [unit], [bench], [profile]"),
        (b"[limits]\n", 'found only "limits", expected exactly one of the tables'),
        (b"[unit]\n[bench]\n", "found [unit], [bench], expected exactly one of the tables"),
        (b'[unit]\ntag = "\xff"\n', "line 2: found the byte 0xff, expected text in UTF-8"),
        (b"#" * 1_000_001, "found more than 1000000 bytes, expected a TOML document"),
        (b"a = " + b"[" * 5000, "found too many nested lists, expected TOML"),
    ],
)
def test_what_is_no_document_is_refused_in_one_line(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    (mistake,) = check_files([path], settings=SETTINGS, needs=NEEDS)
    assert said in str(mistake)


def test_folders_pipes_and_impossible_names_are_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    names = [str(tmp_path), str(pipe), "x" * 5000 + ".toml", "a\0b.toml", "/dev/zero"]
    mistakes = check_files(names, settings=SETTINGS, needs=NEEDS)
    assert [mistake.file for mistake in mistakes] == names


def test_every_shipped_document_is_valid_by_itself() -> None:
    for kind in KINDS:
        assert shipped(kind)
        for path in shipped(kind).values():
            read_document(Source(str(path), path.read_text("utf-8")), kind)


def test_both_simulated_benches_differ_only_in_how_they_are_reached() -> None:
    started = load_profile("acceptance").bench.model_dump()
    apart = load_profile("acceptance", bench="simulated-apart").bench.model_dump()
    for bench in (started, apart):
        del bench["simulation"], bench["bench"]
        for instrument in bench["instruments"].values():
            del instrument["address"]
    assert started == apart
