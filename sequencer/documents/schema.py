"""JSON Schema of the documents, for editors."""

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue, models_json_schema
from pydantic_core import SchemaSerializer
from pydantic_core.core_schema import WithDefaultSchema

from sequencer.documents.find import Kind
from sequencer.documents.load import MODELS

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _TextDefaults(GenerateJsonSchema):
    """Write defaults as documents write them: "250 ms", not 0.25."""

    def default_schema(self, schema: WithDefaultSchema) -> JsonSchemaValue:
        """Add the default of a key as text."""
        result = super().default_schema(schema)
        default = schema.get("default")
        if default is not None and not isinstance(default, BaseModel):
            serializer = SchemaSerializer(schema["schema"])
            result["default"] = serializer.to_python(default, mode="json")
        return result


def schema(kind: Kind, settings: Mapping[str, type[BaseModel]] | None = None) -> dict[str, Any]:
    """Return the JSON Schema of a kind of document.

    Parameters
    ----------
    kind
        "unit", "bench" or "profile".
    settings
        The settings' model of each known trial, by name: a profile's trials then get their own
        keys. Without it a trial may hold any settings.
    """
    models: list[tuple[type[BaseModel], Any]] = [(MODELS[kind], "validation")]
    trials = dict(settings or {}) if kind == "profile" else {}
    models += [(model, "validation") for model in trials.values()]
    references, definitions = models_json_schema(
        models, ref_template="#/$defs/{model}", schema_generator=_TextDefaults
    )
    result: dict[str, Any] = {"$schema": DIALECT, "title": f"steadyrail {kind}"}
    shared: dict[str, Any] = definitions.get("$defs", {})
    top = references[models[0]]["$ref"].rpartition("/")[2]
    result |= {key: value for key, value in shared.pop(top).items() if key != "title"}
    if kind == "profile":
        shared["TrialEntry"] = _entry(
            {name: references[model, "validation"]["$ref"] for name, model in trials.items()},
            shared,
        )
    whole: dict[str, Any] = _without_null(result | {"$defs": shared})
    return whole


def _without_null(node: Any) -> Any:
    """Take out the null of optional keys (TOML has none), and defaults that are whole tables."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {k: _without_null(v) for k, v in node.items() if not _is_noise(k, v)}
    choices = kept.get("anyOf")
    if isinstance(choices, list) and {"type": "null"} in choices:
        others = [choice for choice in choices if choice != {"type": "null"}]
        del kept["anyOf"]
        return (others[0] | kept) if len(others) == 1 else kept | {"anyOf": others}
    return kept


def _entry(trials: Mapping[str, str], shared: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of one trial: the name beside the trial's own settings."""
    if not trials:
        properties = {"trial": {"type": "string", "minLength": 1}}
        return {"type": "object", "required": ["trial"], "properties": properties}
    kinds = []
    for name, reference in trials.items():
        settings = shared.pop(reference.rpartition("/")[2])
        keys = {"trial": {"const": name}} | settings.get("properties", {})
        required = ["trial", *settings.get("required", [])]
        kinds.append(settings | {"title": name, "properties": keys, "required": required})
    return {"oneOf": kinds}


def _is_noise(key: str, value: Any) -> bool:
    return key == "default" and (value is None or isinstance(value, dict))
