"""The JSON Schemas that editors use: they accept what is valid and see common mistakes."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from documents_fits import fits as accepts
from documents_made_up import BENCH, PROFILE, SETTINGS, UNIT, changed

from sequencer.documents.find import KINDS, Kind, shipped
from sequencer.documents.schema import schema


def _nodes(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
    for item in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from _nodes(item)


@pytest.mark.parametrize("kind", KINDS)
def test_shipped_documents_fit_their_schema(kind: Kind) -> None:
    whole = schema(kind)
    for path in shipped(kind).values():
        assert accepts(tomllib.loads(path.read_text("utf-8")), whole, whole), path.name


@pytest.mark.parametrize(
    ("kind", "data", "fits"),
    [
        ("unit", UNIT, True),
        ("unit", changed(UNIT, "ratings", "voltage", to="30 A"), False),
        ("unit", changed(UNIT, "ratings", "voltage", to=30), False),
        ("unit", changed(UNIT, "ratings", "voltage", to="-30 V"), False),
        ("unit", changed(UNIT, "ratings", "voltages", to="30 V"), False),
        ("unit", changed(UNIT, "ratings", "voltage"), False),
        ("unit", changed(UNIT, "limits", 0, "figure", to="load_regulatoin"), False),
        ("unit", changed(UNIT, "limits", 0, "at_least", to="1 mV"), False),
        ("bench", BENCH, True),
        ("bench", changed(BENCH, "load", "power", to="150 V"), False),
        ("bench", changed(BENCH, "channels", "voltage.sense", "range", to="40 A"), False),
        ("bench", changed(BENCH, "channels", "voltage.sense", "range", to="40 V"), True),
        ("bench", changed(BENCH, "guards", to={"temperature.x": {"at_most": "85 °C"}}), True),
        ("bench", changed(BENCH, "guards", to={"temperature.x": {"at_most": "85 V"}}), False),
        ("bench", changed(BENCH, "guards", to={"power.x": {"at_most": "85 W"}}), False),
        ("profile", PROFILE, True),
        ("profile", changed(PROFILE, "profile", "rule", to="lenient"), False),
    ],
)
def test_a_schema_sees_what_the_model_sees(kind: Kind, data: dict[str, Any], *, fits: bool) -> None:
    whole = schema(kind)
    assert accepts(data, whole, whole) == fits


def test_with_the_trials_known_a_profiles_schema_knows_their_settings() -> None:
    whole = schema("profile", SETTINGS)
    assert accepts(PROFILE, whole, whole)
    assert not accepts(changed(PROFILE, "trials", 0, "voltage", to="3 A"), whole, whole)
    assert not accepts(changed(PROFILE, "trials", 0, "trial", to="stepps"), whole, whole)
    assert not accepts(changed(PROFILE, "trials", 0, "colour", to="green"), whole, whole)
    trial = whole["$defs"]["TrialEntry"]["oneOf"][0]
    assert trial["properties"]["period"]["default"] == "250 ms"


@pytest.mark.parametrize("kind", KINDS)
def test_every_reference_has_its_definition_and_no_key_may_be_null(kind: Kind) -> None:
    whole = schema(kind, SETTINGS)
    for node in _nodes(whole):
        if isinstance(reference := node.get("$ref"), str):
            assert reference.rpartition("/")[2] in whole["$defs"]
        assert node.get("type") != "null"
        assert "default" not in node or node["default"] is not None
