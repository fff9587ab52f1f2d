"""What a bench's accuracy leaves of a limit before a run: on the rehearsal's nominal unit."""

import json
import re
from pathlib import Path

import pytest
from called import steadyrail
from test_command_line_plan import PROFILES, said

from sequencer.uncertainty.combine import normal, rectangular
from sequencer.uncertainty.figure import make_figure
from sequencer.verdicts.beforehand import beforehand
from sequencer.verdicts.decide import decide

COARSE = ("--bench", "simulated-hand-held")


def sense_error(u: float, value: float = 1e-3):
    parts = [normal("noise", u), rectangular("gain", 0.01 * u)]
    return make_figure("sense_check", "sense_error", value, "V", parts, reached={})


def known(u: float, lower: float | None, upper: float | None, *, rule="guarded"):
    figure = sense_error(u)
    found = beforehand(figure, decide(figure, lower, upper, rule, True))
    assert found is not None
    return found


def test_a_limit_of_more_than_four_times_u_needs_no_words() -> None:
    found = known(0.1e-3, None, 1e-3)
    assert (found.undecidable, found.words) == (False, "")
    assert found.ratio == pytest.approx(5.0, rel=1e-2)


def test_a_limit_below_four_times_u_says_what_would_make_it_four() -> None:
    found = known(0.2e-3, None, 1e-3)
    assert not found.undecidable
    assert "the limit of 1 mV is only 2.5 times as much" in found.words
    assert "It would need U of at most 250 µV: about 2.6 times as many readings" in found.words


@pytest.mark.parametrize(
    ("rule", "so"), [("guarded", "no value could pass"), ("simple", "a verdict tells nothing")]
)
def test_a_limit_below_u_is_undecidable_whatever_the_unit(rule: str, so: str) -> None:
    found = known(0.6e-3, None, 1e-3, rule=rule)
    assert found.undecidable
    assert f"U will be 1.2 mV at least, more than the limit of 1 mV: {so}." in found.words
    assert "It would need U of at most 1 mV" in found.words


def test_a_limit_far_below_u_is_doubted_itself() -> None:
    assert "No bench meter gets near it: see whether it is right." in known(1.0, None, 1e-3).words


def test_an_interval_narrower_than_two_u_is_undecidable() -> None:
    assert known(0.3e-3, 0.5e-3, 1.5e-3).undecidable
    assert "± 500 µV about its middle" in known(0.3e-3, 0.5e-3, 1.5e-3).words
    assert not known(0.2e-3, 0.5e-3, 1.5e-3).undecidable


def tight(tmp_path: Path) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    changed = re.sub(r'("sense_error"\nat_most = )"3 mV"', r'\1"0.5 mV"', text)
    assert changed != text
    (tmp_path / "unit.toml").write_text(changed)


def test_a_plan_says_what_this_bench_can_and_cannot_decide(tmp_path: Path) -> None:
    tight(tmp_path)
    words = ("acceptance", "--unit", "unit.toml")
    text = " ".join(said(*words, *COARSE, cwd=tmp_path).split())
    assert "With this bench sense error can't be decided: U will be 1.1 mV at least" in text
    assert "use a meter with one digit more" in text
    fine = " ".join(said(*words, cwd=tmp_path).split())
    assert "With this bench" not in fine
    told = json.loads(said(*words, *COARSE, "--json", cwd=tmp_path))
    limits = {one["figure"]: one for one in told["limits"]}
    assert limits["sense_error"]["undecidable"]
    assert limits["sense_error"]["ratio"] == pytest.approx(0.5e-3 / limits["sense_error"]["U"])
    assert (limits["load_regulation"]["undecidable"], limits["load_regulation"]["weak"]) == (
        False,
        "",
    )
    assert limits["drift"]["U"] is None  # no trial of this profile measures it


def test_a_run_says_so_before_anything_is_energised(tmp_path: Path) -> None:
    tight(tmp_path)
    bench = (
        PROFILES / "benches" / "simulated-apart.toml"
    ).read_text()  # its cautions are asked for
    assert 'resolution = "10 µV"' in bench
    (tmp_path / "bench.toml").write_text(bench.replace('"10 µV"', '"1 mV"'))
    words = ("run", "acceptance", "--unit", "unit.toml", "--bench", "bench.toml")
    done = steadyrail(*words, cwd=tmp_path)
    assert done.returncode == 2  # the cautions of a real bench were not acknowledged
    said_first, _, _ = " ".join(done.stderr.split()).partition("Nothing was energised")
    assert "With this bench sense error can't be decided" in said_first


def test_a_figure_that_only_a_real_unit_shows_is_not_called_unmeasured(tmp_path: Path) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    limit = '[[limits]]\nfigure = "temperature_coefficient"\nat_most = "2 mV/K"\n'
    (tmp_path / "unit.toml").write_text(f"{text}\n{limit}")
    told = " ".join(said("overnight", "--unit", "unit.toml", cwd=tmp_path).split())
    assert "Perhaps not covered: temperature coefficient. On a nominal unit:" in told
    assert "the room changed by" in told
    assert "not judged: temperature coefficient" not in told
