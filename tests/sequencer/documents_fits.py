"""Validate by the keywords of JSON Schema 2020-12 that the documents' schemas use."""

import re
from collections.abc import Callable
from typing import Any

TYPES = {"object": dict, "array": list, "string": str, "boolean": bool, "integer": int}

Rule = dict[str, Any]


def fits(node: Any, rule: Rule, whole: Rule) -> bool:
    """Return whether data fits a rule; references are looked up in the whole schema."""
    if "$ref" in rule:
        return fits(node, whole["$defs"][rule["$ref"].rpartition("/")[2]], whole)
    for keyword, value in rule.items():
        applies, obeys = KEYWORDS.get(keyword, (object, _anything))
        if isinstance(node, applies) and not obeys(node, value, rule, whole):
            return False
    return True


def _anything(*_: Any) -> bool:
    return True


def _rest(node: Rule, value: Any, rule: Rule, whole: Rule) -> bool:
    patterns = rule.get("patternProperties", {})
    rest = [
        item
        for key, item in node.items()
        if key not in rule.get("properties", {}) and not any(re.search(p, key) for p in patterns)
    ]
    return not rest if value is False else all(fits(item, value, whole) for item in rest)


def _patterns(node: Rule, value: Rule, _: Rule, whole: Rule) -> bool:
    return all(
        fits(item, one, whole)
        for pattern, one in value.items()
        for key, item in node.items()
        if re.search(pattern, key)
    )


KEYWORDS: dict[str, tuple[Any, Callable[[Any, Any, Rule, Rule], bool]]] = {
    "type": (object, lambda node, value, *_: isinstance(node, TYPES[value])),
    "const": (object, lambda node, value, *_: bool(node == value)),
    "enum": (object, lambda node, value, *_: node in value),
    "oneOf": (object, lambda node, value, _, whole: sum(fits(node, v, whole) for v in value) == 1),
    "pattern": (str, lambda node, value, *_: re.search(value, node) is not None),
    "minLength": (str, lambda node, value, *_: len(node) >= value),
    "maxLength": (str, lambda node, value, *_: len(node) <= value),
    "minItems": (list, lambda node, value, *_: len(node) >= value),
    "minProperties": (dict, lambda node, value, *_: len(node) >= value),
    "maxItems": (list, lambda node, value, *_: len(node) <= value),
    "required": (dict, lambda node, value, *_: all(key in node for key in value)),
    "items": (list, lambda node, value, _, whole: all(fits(n, value, whole) for n in node)),
    "prefixItems": (
        list,
        lambda node, value, _, whole: all(
            fits(item, one, whole) for item, one in zip(node, value, strict=False)
        ),
    ),
    "properties": (
        dict,
        lambda node, value, _, whole: all(
            fits(node[key], one, whole) for key, one in value.items() if key in node
        ),
    ),
    "patternProperties": (dict, _patterns),
    "additionalProperties": (dict, _rest),
}
"""What a keyword applies to, and whether data of that type obeys it."""
