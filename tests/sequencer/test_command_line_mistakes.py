"""What a user can get wrong: one paragraph, the exit code, nothing energised or overwritten."""

import json
import os
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from called import Done, steadyrail
from test_run_notify import SHORT

from sequencer.record.seal import verify

PROFILES = Path(str(files("profiles")))


def one_paragraph(done: Done) -> str:
    """Return what was said on standard error; a traceback or an empty word fails."""
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()
    return done.stderr


def changed(tmp_path: Path, name: str, old: str, new: str) -> Path:
    """Write a shipped document with one change beside copies of the others."""
    for folder in ("", "units", "benches"):
        (tmp_path / folder).mkdir(exist_ok=True)
        for file in (PROFILES / folder).glob("*.toml"):
            (tmp_path / folder / file.name).write_text(file.read_text())
    profile = tmp_path / "acceptance.toml"
    profile.write_text(
        profile.read_text()
        .replace('"w-17"', '"units/w-17.toml"')
        .replace('"simulated"', '"benches/simulated.toml"')
    )
    target = tmp_path / name
    text = target.read_text()
    assert old in text
    target.write_text(text.replace(old, new, 1))
    return profile


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("acceptance.toml", 'voltage = "30 V"', 'voltage = "30 A"', r"voltage.*30 A.*voltage"),
        ("acceptance.toml", 'voltage = "30 V"', "voltage = 30", r"trials\[?.*voltage.*30"),
        ("acceptance.toml", 'voltage = "30 V"', 'volts = "30 V"', r"volts"),
        ("acceptance.toml", 'current = "3 A"', 'current = "4 A"', r"4 A.*at most.*3 A"),
        ("acceptance.toml", 'trial = "load_steps"', 'trial = "load_step"', r"load_steps"),
        ("units/w-17.toml", 'current = "3 A"', 'current = "-3 A"', r"ratings\.current.*-3 A"),
        ("units/w-17.toml", '"load_regulation"', '"load_regulations"', r"load_regulation"),
        ("benches/simulated.toml", "[load]", "[load", r"line \d+, column \d+"),
    ],
)
def test_a_mistake_in_a_document_is_named_with_file_and_key(
    tmp_path: Path, name: str, old: str, new: str, said: str
) -> None:
    profile = changed(tmp_path, name, old, new)
    for command in ("check", "plan", "run"):
        done = steadyrail(command, str(profile), cwd=tmp_path)
        assert done.returncode == 2
        text = done.stdout if command == "check" else one_paragraph(done)
        if command == "check" and name != "acceptance.toml":
            continue  # `check` looks at the files that it is given
        assert re.search(said, text, re.DOTALL), text
        assert Path(name).name in text
    assert not list(tmp_path.glob("*.sqlite"))


def test_every_mistake_is_printed_at_once(tmp_path: Path) -> None:
    changed(tmp_path, "units/w-17.toml", 'control = "hand"', 'control = "foot"')
    unit = tmp_path / "units" / "w-17.toml"
    unit.write_text(unit.read_text().replace('voltage = "30 V"', 'voltage = "30 W"', 1))
    done = steadyrail("check", str(unit), cwd=tmp_path)
    assert done.returncode == 2
    lines = done.stdout.splitlines()
    assert len(lines) >= 2
    assert all(line.count(": ") >= 2 for line in lines)


def test_names_that_are_wrong_in_three_files_come_at_once_and_briefly(tmp_path: Path) -> None:
    profile = changed(tmp_path, "acceptance.toml", '"units/w-17.toml"', '"w-71"')
    text = profile.read_text().replace('"load_steps"', '"load_step"')
    profile.write_text(text + '\n[guards."voltage.sens"]\nat_most = "33 V"\n')
    bench = tmp_path / "benches" / "simulated.toml"
    text = bench.read_text()
    for right, wrong in (
        ('"voltmeter"', '"volmeter"'),
        ('"scpi-voltmeter"', '"scpi-voltmetre"'),
        ('dialect = "scpi-load"', 'dialect = "scpi-laod"'),
        ('[channels."voltage.load"]', '[channels."voltag.load"]'),
        ('instrument = "voltmeter_shunt"', 'instrument = "voltmeter_shnt"'),
        ('gain = "0.05 %"', 'gian = "0.05 %"'),
    ):
        assert right in text
        text = text.replace(right, wrong, 1)
    bench.write_text(text)
    meant = (
        "w-17",
        "load_steps",
        "voltage.sense",
        "voltmeter",
        "scpi-voltmeter",
        "scpi-load",
        "voltage.load",
        "voltmeter_shunt",
        "gain",
    )
    said = {c: steadyrail(c, str(profile), cwd=tmp_path) for c in ("check", "plan")}
    assert {one.returncode for one in said.values()} == {2}
    lines = said["check"].stdout.splitlines()
    assert lines == said["plan"].stderr.splitlines()
    for name in meant:
        assert any(re.search(rf'did you mean "?{re.escape(name)}\b', line) for line in lines), name
    assert max(line.count(", ") for line in lines) < 8


def test_a_channel_one_letter_away_from_what_trials_ask_for_is_remarked_on(tmp_path: Path) -> None:
    changed(tmp_path, "benches/simulated.toml", '"voltage.terminals"]', '"voltage.terminal"]')
    bench = tmp_path / "benches" / "simulated.toml"
    bench.write_text(bench.read_text().replace('"voltage.terminals".', '"voltage.terminal".'))
    done = steadyrail("check", str(bench), cwd=tmp_path)
    assert done.returncode == 0
    assert "Did you mean voltage.terminals?" in done.stdout
    assert "Did you mean" not in steadyrail("check", "simulated", cwd=tmp_path).stdout


def test_a_missing_profile_lists_the_shipped_ones(tmp_path: Path) -> None:
    done = steadyrail("run", "aceptance", cwd=tmp_path)
    assert done.returncode == 2
    assert "acceptance" in one_paragraph(done)


def test_an_existing_record_is_never_overwritten(tmp_path: Path) -> None:
    record = tmp_path / "night.sqlite"
    record.write_text("mine")
    done = steadyrail("run", "acceptance", "--record", str(record), cwd=tmp_path)
    assert done.returncode == 2
    assert "there already" in one_paragraph(done)
    assert record.read_text() == "mine"


def test_an_existing_report_is_never_overwritten(tmp_path: Path) -> None:
    report = tmp_path / "r.html"
    report.write_text("mine")
    done = steadyrail("run", "acceptance", "--report", str(report), cwd=tmp_path)
    assert done.returncode == 2
    assert report.read_text() == "mine"
    assert not list(tmp_path.glob("*.sqlite"))


def test_a_record_in_no_folder_is_refused_before_anything_starts(tmp_path: Path) -> None:
    done = steadyrail("run", "acceptance", "--record", "no/such/folder/x.sqlite", cwd=tmp_path)
    assert done.returncode == 2
    assert "no folder" in one_paragraph(done)


def test_scenario_and_seed_are_for_a_simulated_bench_only(tmp_path: Path) -> None:
    done = steadyrail(
        "run", "acceptance", "--bench", "simulated-apart", "--seed", "3", cwd=tmp_path
    )
    assert done.returncode == 2
    assert "simulated bench" in one_paragraph(done)


def test_cautions_must_be_acknowledged_on_a_bench_that_is_not_simulated(tmp_path: Path) -> None:
    done = steadyrail("run", "acceptance", "--bench", "simulated-apart", cwd=tmp_path)
    assert done.returncode == 2
    assert "Mains" in one_paragraph(done)
    assert "--cautions-read" in done.stderr


def apart_on(tmp_path: Path, port: int) -> Path:
    """Write a bench whose first instrument is at another port."""
    text = (PROFILES / "benches" / "simulated-apart.toml").read_text()
    bench = tmp_path / "bench.toml"
    bench.write_text(text.replace("::5025::", f"::{port}::"))
    return bench


def test_an_unreachable_instrument_is_named_with_its_address(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, not listening: refuses connections
        port = taken.getsockname()[1]
        bench = apart_on(tmp_path, port)
        done = steadyrail(
            "run", "acceptance", "--bench", str(bench), "--cautions-read", cwd=tmp_path
        )
    assert done.returncode == 5
    assert f"TCPIP0::127.0.0.1::{port}::SOCKET" in one_paragraph(done)
    assert "Nothing was energised" in done.stderr
    assert not list(tmp_path.glob("*.sqlite"))


@pytest.fixture
def stranger() -> Iterator[int]:
    """An instrument that answers every question with an identity that nobody expects."""
    server = socket.create_server(("127.0.0.1", 0))
    connections: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                connection, _ = server.accept()
            except OSError:
                return
            connections.append(connection)
            threading.Thread(target=answer, args=(connection,), daemon=True).start()

    def answer(connection: socket.socket) -> None:
        with connection:
            while data := connection.recv(4096):
                for line in data.split(b"\n"):
                    if line.rstrip().endswith(b"?"):
                        connection.sendall(b"WORKSHOP,KETTLE,1,1\n")

    threading.Thread(target=serve, daemon=True).start()
    yield server.getsockname()[1]
    server.close()


def test_a_wrong_instrument_at_an_address_is_recognised(tmp_path: Path, stranger: int) -> None:
    bench = apart_on(tmp_path, stranger)
    done = steadyrail("run", "acceptance", "--bench", str(bench), "--cautions-read", cwd=tmp_path)
    assert done.returncode == 5
    assert "KETTLE" in one_paragraph(done)
    assert "CLOCK" in done.stderr
    assert not list(tmp_path.glob("*.sqlite"))


def test_a_file_that_is_no_record_is_refused(tmp_path: Path) -> None:
    other = tmp_path / "x.sqlite"
    other.write_bytes(b"SQLite format 3\0" + bytes(100))
    for command in ("judge", "report", "verify"):
        done = steadyrail(command, str(other), cwd=tmp_path)
        assert done.returncode == 2
        one_paragraph(done)
    done = steadyrail("judge", "absent.sqlite", cwd=tmp_path)
    assert done.returncode == 2


def test_shipped_documents_are_without_a_mistake(tmp_path: Path) -> None:
    names = [str(path) for path in sorted(PROFILES.rglob("*.toml"))]
    assert len(names) >= 5
    done = steadyrail("check", *names, cwd=tmp_path)
    assert done.returncode == 0, done.stdout
    done = steadyrail("check", *names, "--json", cwd=tmp_path)
    assert json.loads(done.stdout) == {"mistakes": []}


@pytest.mark.parametrize("kind", ["unit", "bench", "profile"])
def test_schemas_are_json_schemas(tmp_path: Path, kind: str) -> None:
    done = steadyrail("check", "--schema", kind, cwd=tmp_path)
    assert done.returncode == 0
    schema = json.loads(done.stdout)
    assert schema["type"] == "object"
    assert kind in schema["properties"]


def test_help_loads_nothing_heavy() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "sequencer.command_line.app", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {line.rsplit("|", 1)[-1].strip() for line in done.stderr.splitlines()}
    heavy = {"numpy", "scipy", "pandas", "matplotlib", "pydantic", "pyvisa", "GTC", "sqlite3"}
    assert not heavy & loaded
    assert "Usage" in done.stdout


INTERRUPTS_ITSELF = """
import os, signal, sys
from sequencer.command_line import start

class Interrupting:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            os.kill(os.getpid(), signal.SIGINT)

signal.signal(signal.SIGINT, signal.default_int_handler)
sys.meta_path.insert(0, Interrupting())
sys.argv = ["steadyrail", "run", "acceptance"]
start.main()
"""


@pytest.mark.parametrize("module", ["typer", "pydantic", "sequencer.run.session"])
def test_an_interrupt_while_the_program_loads_ends_it_in_a_word(
    tmp_path: Path, module: str
) -> None:
    script = INTERRUPTS_ITSELF.format(module=module)
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert (done.returncode, done.stderr) == (130, "Interrupted.\n")
    assert not list(tmp_path.iterdir())


CLOSED = """
import os, sys
for number in {closed}:
    os.close(number)
os.execv(sys.executable, [sys.executable, "-c",
    "from sequencer.command_line.start import main; main()", *sys.argv[1:]])
"""


RUNS = ("run", "short.toml", "--record", "run.sqlite")
NOT_ACKNOWLEDGED = ("run", "short.toml", "--bench", "simulated-apart")


@pytest.mark.parametrize(
    ("words", "closed", "code"),
    [
        (RUNS, (0, 1, 2), (0, 1, 3)),
        (NOT_ACKNOWLEDGED, (0,), (2,)),
        (NOT_ACKNOWLEDGED, (2,), (2,)),
        (("plan", "short.toml"), (1,), (0,)),
    ],
)
def test_closed_streams_end_nothing_and_no_file_takes_their_place(
    tmp_path: Path, words: tuple[str, ...], closed: tuple[int, ...], code: tuple[int, ...]
) -> None:
    (tmp_path / "short.toml").write_text(SHORT)
    done = subprocess.run(
        [sys.executable, "-c", CLOSED.format(closed=closed), *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={**os.environ, "STEADYRAIL_STATE": str(tmp_path / "locks")},
    )
    assert done.returncode in code, done.stderr
    assert "Traceback" not in done.stderr
    if words[-1] == "run.sqlite":
        assert verify(tmp_path / "run.sqlite").intact


def test_what_can_not_be_written_out_is_said_and_the_rest_is_done(tmp_path: Path) -> None:
    (tmp_path / "short.toml").write_text(SHORT)
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "sequencer.command_line.app", *RUNS, "--json"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=tmp_path,
        )
    assert done.returncode in (0, 1, 3)
    said = " ".join(done.stderr.split())
    assert "could not be written to standard output: No space left on device" in said
    assert "steadyrail judge run.sqlite" in said
    assert (tmp_path / "run.html").exists()  # and all else was done before


def test_a_list_that_nobody_reads_to_its_end_ends_without_a_traceback() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", "scenarios"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as listing:
        assert listing.stdout is not None
        assert listing.stderr is not None
        listing.stdout.close()
        assert listing.stderr.read() == ""


def test_a_fault_of_the_program_is_no_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python's own exit code for that is 1, which says that a limit is not kept."""

    def wrong(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault")

    monkeypatch.setattr("sequencer.command_line.plan.run", wrong)
    done = steadyrail("plan", "acceptance", cwd=tmp_path)
    assert done.returncode == 70
    assert "ZeroDivisionError: a fault" in done.stderr
    assert "This is a fault of the program" in done.stderr
