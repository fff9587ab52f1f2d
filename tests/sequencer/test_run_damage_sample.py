"""Units that destroy themselves are stopped in time; `make damage` takes a hundred of each."""

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "campaigns"))
from damage import SOAK, fate
from short_bench import run

from sequencer.errors import Exit
from sequencer.record.read import RecordReader


@pytest.mark.parametrize(
    ("what", "seed"),
    [*(("pass element short", seed) for seed in (1, 2, 3)), ("thermal runaway", 1)],
)
def test_a_unit_that_destroys_itself_is_stopped_in_time(what: str, seed: int) -> None:
    found = fate(what, seed)
    assert not found["wrong"], found


def test_an_output_that_keeps_its_voltage_ends_loudly_with_what_to_do(tmp_path: Path) -> None:
    # A guard stops it, which alone is exit code 4; 42 V stay at the terminals, which weighs more.
    ran = run(tmp_path, [{"what": "pass element short", "at": "40 s"}], SOAK)
    assert ran.code == Exit.INSTRUMENT
    assert ran.result is not None
    assert ran.result["outcome"] == "stopped by a guard, not made safe"
    said = " ".join(ran.errors.split())
    assert said.count("ALARM: Making safe is NOT VERIFIED") >= 1
    assert re.search(r"still voltage\.sense 4\d\.?\d? V", said)
    assert "Switch the unit off at the line yourself" in said
    with RecordReader.open(ran.record) as reader:
        assert reader.seal, "what a guard stopped can't go on, so its record is finished"
