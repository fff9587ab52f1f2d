"""Recognising instruments by asking, and trying their dialects, on simulated ones with quirks."""

import json
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from stand_in import StandIn

from drivers.dialect import Dialect, placeholders
from drivers.dialect_files import read_dialect, shipped
from drivers.errors import NoAnswer, Unreachable
from drivers.exercise import Tried, exercise
from drivers.probe import harmless, probe
from drivers.roles import InstrumentSpec
from sequencer.command_line.probe import block

SCENARIO = """
name = "traits"
description = "Instruments with ways of their own"
based_on = "healthy"
[instruments.voltmeter_load]
traits = ["cr lf", "line cycles", "no error queue", "echo"]
[instruments.voltmeter_sense]
traits = ["unit suffix"]
[instruments.load]
traits = ["static levels"]
"""


@pytest.fixture(scope="module")
def addresses(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mapping[str, str]]:
    scenario: Path = tmp_path_factory.mktemp("probe") / "traits.toml"
    scenario.write_text(SCENARIO)
    words = ["serve", "--scenario", str(scenario), "--until-stdin-closes"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        yield json.loads(process.stdout.readline())["instruments"]
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.probe.QUESTION_S", 0.05)


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("name", "dialect", "link"),
    [
        ("voltmeter_shunt", "scpi-voltmeter", {}),
        ("voltmeter_sense", "scpi-voltmeter-units", {}),
        (
            "voltmeter_load",
            "scpi-voltmeter-line-cycles",
            {"read_terminator": "\r\n", "echo": True, "error_queue": False},
        ),
        ("load", "scpi-load-static-levels", {}),
    ],
)
def test_an_instrument_is_recognised_with_its_quirks_and_its_block_opens_it(
    addresses: Mapping[str, str], name: str, dialect: str, link: dict[str, object]
) -> None:
    found = probe(addresses[name])
    assert found.fits[0].dialect == dialect
    assert found.fits[0].certainty == 1
    assert dict(found.link) == link
    [(given, table)] = tomllib.loads(block(found, found.fits[0]))["instruments"].items()
    spec = InstrumentSpec(
        given, table["role"], table["dialect"], table["address"], table["identity"],
        link=table.get("link", {}),
    )  # fmt: skip
    outcomes = {tried.operation: tried.outcome for tried in exercise(spec)}
    assert outcomes.pop("error queue") == ("not tried" if "error_queue" in link else "worked")
    assert set(outcomes.values()) == {"worked"}


def test_probing_sends_questions_only() -> None:
    for name in shipped():
        for question in harmless(read_dialect(name)):
            assert question.ask.endswith("?")
            assert not placeholders(question.ask)


@pytest.mark.usefixtures("quick")
def test_whoever_is_no_scpi_instrument_fits_nothing() -> None:
    with StandIn() as server:
        found = probe(server.address)
        assert found.fits == ()
        assert all(line.split(" ")[0].endswith("?") for line in server.log)


def test_nobody_there_is_told_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.probe.PATIENCE_S", 0.1)
    with pytest.raises(Unreachable, match="could not be opened"):
        probe("TCPIP0::127.0.0.1::1::SOCKET")
    with StandIn() as server:
        server.answers.clear()
        with pytest.raises(NoAnswer):
            probe(server.address)


def _exercised(server: StandIn, dialect: str) -> dict[str, Tried]:
    spec = InstrumentSpec("load", "load", dialect, server.address, timeout_s=0.2)
    return {tried.operation: tried for tried in exercise(spec)}


def test_nothing_is_tried_while_a_load_is_not_known_to_be_off() -> None:
    with StandIn() as server:
        server.answers["INPut?"] = "1"
        server.settings["INPut"] = lambda _: None
        found = _exercised(server, "scpi-load")
        assert found["input off"].outcome == "failed"
        assert found["everything else"].outcome == "not tried"
        assert not any("CURRent" in line for line in server.log)


def test_a_dialect_that_does_not_fit_is_told_line_by_line() -> None:
    with StandIn() as server:
        server.answers |= {"INPut?": "0", "SOURce:FUNCtion?": "SINE", "MEASure:VOLTage?": "12 V"}
        server.settings["INPut"] = lambda _: None
        found = _exercised(server, "scpi-load")
        assert found["input off"].outcome == "worked"
        assert "none of CURR" in found["mode"].remark
        assert "a unit was not declared" in found["voltage"].remark
        assert found["power"].outcome == "failed"
        assert all(line != "INPut 1" for line in server.log)


def test_what_a_switch_may_do_is_part_of_every_dialect_that_has_one() -> None:
    for name in shipped():
        dialect: Dialect = read_dialect(name)
        for switch in ("input", "output"):
            if switch in dialect.settings:
                assert "off" in dialect.settings[switch].values
