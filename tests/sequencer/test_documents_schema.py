"""The JSON Schemas that editors use: they accept what is valid and see common mistakes."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from documents_made_up import BENCH, PROFILE, SETTINGS, UNIT, changed

from sequencer.documents.find import KINDS, Kind, shipped
from sequencer.documents.schema import schema

TYPES = {"object": dict, "array": list, "string": str, "boolean": bool, "integer": int}


def _fits(node: Any, rule: dict[str, Any], whole: dict[str, Any]) -> bool:
    """Validate by the keywords of JSON Schema 2020-12 that our schemas use."""
    if "$ref" in rule:
        return _fits(node, whole["$defs"][rule["$ref"].rpartition("/")[2]], whole)
    return all(_obeys(node, keyword, value, rule, whole) for keyword, value in rule.items())


def _obeys(
    node: Any, keyword: str, value: Any, rule: dict[str, Any], whole: dict[str, Any]
) -> bool:
    match keyword, node:
        case "type", _:
            return isinstance(node, TYPES[value])
        case "const", _:
            return bool(node == value)
        case "enum", _:
            return node in value
        case "oneOf", _:
            return sum(_fits(node, choice, whole) for choice in value) == 1
        case "pattern", str():
            return re.search(value, node) is not None
        case (("minLength" | "minItems" | "minProperties"), (str() | list() | dict())):
            return len(node) >= value
        case "maxItems", list():
            return len(node) <= value
        case "required", dict():
            return all(key in node for key in value)
        case "items", list():
            return all(_fits(item, value, whole) for item in node)
        case "prefixItems", list():
            return all(_fits(item, one, whole) for item, one in zip(node, value, strict=False))
        case "properties", dict():
            return all(_fits(node[key], one, whole) for key, one in value.items() if key in node)
        case "patternProperties", dict():
            return all(
                _fits(item, one, whole)
                for pattern, one in value.items()
                for key, item in node.items()
                if re.search(pattern, key)
            )
        case "additionalProperties", dict():
            known = rule.get("properties", {})
            patterns = rule.get("patternProperties", {})
            rest = [
                item
                for key, item in node.items()
                if key not in known and not any(re.search(pattern, key) for pattern in patterns)
            ]
            return not rest if value is False else all(_fits(item, value, whole) for item in rest)
        case _:
            return True


def _nodes(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
    for item in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from _nodes(item)


@pytest.mark.parametrize("kind", KINDS)
def test_shipped_documents_fit_their_schema(kind: Kind) -> None:
    whole = schema(kind)
    for path in shipped(kind).values():
        assert _fits(tomllib.loads(path.read_text("utf-8")), whole, whole), path.name


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
    assert _fits(data, whole, whole) == fits


def test_with_the_trials_known_a_profiles_schema_knows_their_settings() -> None:
    whole = schema("profile", SETTINGS)
    assert _fits(PROFILE, whole, whole)
    assert not _fits(changed(PROFILE, "trials", 0, "voltage", to="3 A"), whole, whole)
    assert not _fits(changed(PROFILE, "trials", 0, "trial", to="stepps"), whole, whole)
    assert not _fits(changed(PROFILE, "trials", 0, "colour", to="green"), whole, whole)
    (trial,) = whole["$defs"]["TrialEntry"]["oneOf"]
    assert trial["properties"]["period"]["default"] == "250 ms"


@pytest.mark.parametrize("kind", KINDS)
def test_every_reference_has_its_definition_and_no_key_may_be_null(kind: Kind) -> None:
    whole = schema(kind, SETTINGS)
    for node in _nodes(whole):
        if isinstance(reference := node.get("$ref"), str):
            assert reference.rpartition("/")[2] in whole["$defs"]
        assert node.get("type") != "null"
        assert "default" not in node or node["default"] is not None
