"""A trace of a run on a table becomes instruments that answer the same again."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from stand_in import send
from table import set_up

from drivers.connect import connect
from drivers.errors import DamagedAnswer
from drivers.roles import BenchSpec
from drivers.trace import Trace

CHANNELS = ("voltage.sense", "current.load")


def converse(spec: BenchSpec, trace: Path | None) -> list[str]:
    """Do a few things on a bench, a damaged answer among them; return all that was read."""
    bench = connect(spec, on_event=lambda _kind, _text: None, trace=trace)
    found = [repr(reading.value) for _ in range(3) for reading in bench.read(CHANNELS)]
    assert bench.load is not None
    found.append(str(bench.load.apply("current", 1.25, on=True)))
    found.extend(bench.read(CHANNELS)[0].raw for _ in range(2))
    bench.close()
    return found


def test_what_a_trace_holds_is_answered_again(tmp_path: Path) -> None:
    path = tmp_path / "messages.txt"
    with (table := set_up()).servers["meter_a"] as meter, table.servers["load"]:
        spec = table.spec(("meter_a", "load"))
        meter.special["READ?"] = send(b"+1.0\xb5\n")  # the driver opens a new link after that
        first = converse(spec, path)
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", "replay", str(path), "--until-stdin-closes"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        at = json.loads(process.stdout.readline())["instruments"]
        moved = tuple(
            type(one)(
                **{name: getattr(one, name) for name in one.__slots__} | {"address": at[one.name]}
            )
            for one in spec.instruments
        )
        again = converse(BenchSpec(moved, spec.channels), None)
        process.stdin.close()
        assert process.wait(10) == 0
    assert again == first
    text = path.read_text()
    assert "\tmeter_a\t<\t+1.0\\xb5\\n" in text
    assert text.count("\tmeter_a\topen\t") == 2
    assert "\tload\t>\tSOURce:CURRent 1.25\\n" in text


def test_a_trace_never_writes_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "there.txt"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        Trace(path, lambda _: None)
    assert path.read_text() == "mine"


def test_a_full_disk_ends_the_trace_and_not_the_run() -> None:
    lost: list[str] = []
    trace = Trace.__new__(Trace)
    trace._on_lost, trace._now, trace._begin = lost.append, lambda: 0.0, 0.0
    trace._file = Path("/dev/full").open("w", encoding="ascii", buffering=1)  # noqa: SIM115
    trace.line("meter", ">", b"READ?\n")
    trace.line("meter", "<", b"1\n")
    assert len(lost) == 1
    assert "ends here" in lost[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("nonsense\n", "found no trace"),
        ("# steadyrail message trace 1\n0.1\tmeter\t>\n", "line 2: found 3 columns"),
        ("# steadyrail message trace 1\n0.1\tmeter\t>\t\\x\n", "expected escaped bytes"),
        ("# steadyrail message trace 1\n0.1\tm\xb5\t>\t\n", "can't be read"),
    ],
)
def test_a_trace_that_is_none_is_refused_in_one_line(
    tmp_path: Path, text: str, message: str
) -> None:
    path = tmp_path / "trace.txt"
    path.write_text(text)
    done = subprocess.run(
        [sys.executable, "-m", "simulated_bench", "replay", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert message in done.stderr
    assert done.stderr.count("\n") == 1
    assert DamagedAnswer.__name__ not in done.stderr
