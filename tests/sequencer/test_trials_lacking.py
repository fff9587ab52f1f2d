"""What a bench can't give for want of a channel is said with the channel, in plan and result."""

import json
import re
import tomllib
from importlib.resources import files
from pathlib import Path

from called import steadyrail
from rehearsed import rehearse

from sequencer.documents.load import Documents, load_profile
from sequencer.planning import make_plan

PROFILES = Path(str(files("profiles")))
TERMINALS = "Not given on this bench: lead drop and sense following (need voltage.terminals)."
ALONE = (
    "Not given on this bench: current agreement (needs a second ammeter on the output: "
    "current.load or current.panel)."
)
ROOM = (
    "Not given on this bench: temperature coefficient and drift corrected (need "
    "temperature.ambient)."
)


def without(tmp_path: Path, profile: str, *channels: str) -> Documents:
    """Return a shipped profile on the simulated bench without some of its channels."""
    text = (PROFILES / "benches" / "simulated.toml").read_text(encoding="utf-8")
    tables = text.split("\n[")
    gone = tuple(f'{kind}."{name}"' for name in channels for kind in ("channels", "guards"))
    kept = [table for table in tables if not table.startswith(gone)]
    assert len(kept) < len(tables)
    path = tmp_path / "bench.toml"
    path.write_text("\n[".join(kept), encoding="utf-8")
    assert set(tomllib.loads(path.read_text(encoding="utf-8"))["channels"]).isdisjoint(channels)
    return load_profile(profile, bench=str(path))


def test_the_whole_bench_lacks_nothing() -> None:
    plan = make_plan(load_profile("acceptance"))
    assert plan.lacking == {}
    assert plan.out_of_reach == {}


def test_a_figure_without_its_channel_is_named_with_it(tmp_path: Path) -> None:
    documents = without(tmp_path, "acceptance", "voltage.terminals", "current.load")
    plan = make_plan(documents)
    assert plan.lacking == {
        "lead_drop": TERMINALS,
        "sense_following": TERMINALS,
        "current_agreement": ALONE,
    }


def test_a_tail_that_nobody_types_is_certain_beforehand() -> None:
    plan = make_plan(load_profile("acceptance", bench="simulated-hand-held"))
    assert plan.lacking["thermal_tail"] == (
        "Not given on this bench: thermal tail (needs voltage.sense by a meter that nobody has to "
        "type)."
    )


def test_a_soak_without_a_thermometer_in_the_room_says_what_it_takes(tmp_path: Path) -> None:
    text = (PROFILES / "overnight.toml").read_text(encoding="utf-8")
    path = tmp_path / "profile.toml"
    path.write_text(re.sub("channels = .*", "", text), encoding="utf-8")
    plan = make_plan(without(tmp_path, str(path), "temperature.ambient"))
    assert plan.lacking["temperature_coefficient"] == plan.lacking["drift_corrected"] == ROOM
    assert plan.out_of_reach == {"heat": ("temperature.ambient",)}
    path.write_text(re.sub(', "temperature.ambient"]', "]", text), encoding="utf-8")
    plan = make_plan(load_profile(str(path)))
    listed = ROOM.replace("ambient)", "ambient among the soak's channels)")
    assert plan.lacking["drift_corrected"] == listed


def test_the_result_says_it_too_once_for_each_channel(tmp_path: Path) -> None:
    documents = without(tmp_path, "acceptance", "voltage.terminals", "current.load")
    _, judged = rehearse(documents)
    named = {figure.name for figure in judged.figures}
    assert named.isdisjoint({"lead_drop", "sense_following", "current_agreement"})
    assert judged.notes.count(TERMINALS) == judged.notes.count(ALONE) == 1


def test_the_plan_says_it_on_the_screen_and_in_json(tmp_path: Path) -> None:
    without(tmp_path, "acceptance", "voltage.terminals", "temperature.heatsink")
    words = ("plan", "acceptance", "--bench", "bench.toml")
    text = " ".join(steadyrail(*words, cwd=tmp_path).stdout.split())
    assert TERMINALS in text
    assert "Trials for which this bench lacks channels: heat (temperature.heatsink)." in text
    told = json.loads(steadyrail(*words, "--json", cwd=tmp_path).stdout)
    assert told["lacking"]["lead_drop"] == TERMINALS
    assert told["out_of_reach"] == {"heat": ["temperature.heatsink"]}
