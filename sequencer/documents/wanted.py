"""What pydantic's errors say, in our own words: what was found, and what was expected there."""

from collections.abc import Mapping
from typing import Any

from sequencer.documents.parsing import quoted

PLAIN = {
    "string_type": "text",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a number that is finite",
    "dict_type": "a table",
    "mapping_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "list_type": "a list",
    "tuple_type": "a list",
    "date_type": "a date, such as 2026-05-01",
    "date_parsing": "a date, such as 2026-05-01",
    "date_from_datetime_parsing": "a date, such as 2026-05-01",
    "date_from_datetime_inexact": "a date without a time, such as 2026-05-01",
}
BOUNDED = {
    "greater_than": "more than {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "less_than": "less than {lt:g}",
    "less_than_equal": "{le:g} or less",
    "multiple_of": "a multiple of {multiple_of:g}",
}
LENGTHS = {
    "too_short": ("at least", "min_length"),
    "too_long": ("at most", "max_length"),
    "string_too_short": ("at least", "min_length"),
    "string_too_long": ("at most", "max_length"),
}
LISTS_OF_TABLES = {
    "trials": "[[trials]]",
    "limits": "[[limits]]",
    "ranges": "[[ranges]]",
    "resistors": "[[load.resistors]]",
}
WITHOUT_DETAIL = frozenset({PLAIN["string_type"], PLAIN["list_type"]})
"""What is expected by its type alone; whatever knows more about the key says more."""


def found_words(kind: str, found: object) -> str:
    """Return what was found: of a list or a table also how long it is, where that is the matter."""
    if kind in LENGTHS and isinstance(found, list | tuple | Mapping):
        what = "table" if isinstance(found, Mapping) else "list"
        return f"a {what} of {len(found)}" if found else f"an empty {what}"
    return quoted(found)


def wanted(
    kind: str, context: Mapping[str, Any], message: str, found: object, key: str | int = ""
) -> str:
    """Return what was expected at a key; an error of no known kind keeps its message."""
    if kind in {"list_type", "tuple_type"} and isinstance(found, Mapping):
        lists = LISTS_OF_TABLES.get(str(key))
        return PLAIN[kind] if lists is None else f"a list: each table of it begins with {lists}"
    if kind in PLAIN:
        return PLAIN[kind]
    if kind in BOUNDED:
        return BOUNDED[kind].format(**context)
    if kind in LENGTHS:
        bound, key = LENGTHS[kind]
        most = context[key]
        if isinstance(found, str):
            return f"text of {bound} {most} characters" if most > 1 else "text that is not empty"
        return f"{bound} {most} {'entry' if most == 1 else 'entries'}"
    message = message.removeprefix("Value error, ")
    return message[:1].lower() + message[1:]
