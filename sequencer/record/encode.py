"""Requests and replies as JSON text and back, exactly.

Numbers that JSON lacks are written as {"float": "nan"}, so that every JSON reader takes the text.
The rows of a Read stand in the readings table; its reply only counts them.
"""

import json
from collections.abc import Mapping
from dataclasses import fields
from math import isfinite
from typing import Any, cast

import numpy as np

from sequencer.errors import RecordError
from sequencer.requests import (
    Answered,
    Applied,
    Apply,
    Ask,
    LoadState,
    Note,
    Noted,
    Read,
    Readings,
    Reply,
    Request,
    Settle,
    Settled,
    SupplyState,
)

MARKS = (["float"], ["mapping"])
"""Keys that mark a number that JSON lacks; a mapping that has just such a key is wrapped in one."""

REQUESTS = {kind.__name__: kind for kind in (Apply, Settle, Read, Ask, Note)}
STATES = {kind.__name__: kind for kind in (LoadState, SupplyState)}
REPLIES = {kind.__name__: kind for kind in (Applied, Settled, Answered, Noted)}


def encode_request(request: Request) -> str:
    """Return a request as JSON text."""
    return _dump(_plain(request))


def decode_request(text: str) -> Request:
    """Return the request that `text` holds.

    Raises
    ------
    RecordError
        When the text is no request that this version knows.
    """
    return cast("Request", _build(text, REQUESTS))


def encode_reply(reply: Reply) -> str:
    """Return a reply as JSON text; of Readings only how many rows each channel has."""
    if isinstance(reply, Readings):
        counts = {channel: len(values) for channel, values in reply.value.items()}
        return _dump({"kind": "Readings", "counts": counts})
    return _dump(_plain(reply))


def decode_reply(text: str, readings: Readings) -> Reply:
    """Return the reply that `text` holds; `readings` are the request's own rows.

    Raises
    ------
    RecordError
        When the text is no reply that this version knows, or counts other rows than there are.
    """
    data = _load(text)
    if data.get("kind") != "Readings":
        return cast("Reply", _build(text, REPLIES))
    counts = data.get("counts")
    found = {channel: len(values) for channel, values in readings.value.items()}
    if not isinstance(counts, dict) or {c: n for c, n in counts.items() if n} != found:
        raise RecordError(
            f"A reply counts the readings {counts}, but the record holds {found}. Rows are "
            "missing or were added: the record was damaged or changed."
        )
    none = np.empty(0)
    return Readings(
        asked={channel: readings.asked.get(channel, none) for channel in counts},
        answered={channel: readings.answered.get(channel, none) for channel in counts},
        value={channel: readings.value.get(channel, none) for channel in counts},
    )


def encode_mapping(mapping: Mapping[str, object]) -> str:
    """Return a mapping of plain values as JSON text."""
    return _dump(_plain(mapping))


def decode_mapping(text: str) -> dict[str, Any]:
    """Return the mapping that `text` holds (its values are whatever was put in)."""
    return dict(_value(_load(text)))


def _plain(value: object) -> object:
    match value:
        case float() if not isfinite(value):
            return {"float": repr(float(value))}
        case None | bool() | int() | float() | str():
            return value
        case np.generic():
            return _plain(value.item())
        case Mapping():
            plain = {str(key): _plain(entry) for key, entry in value.items()}
            return {"mapping": plain} if list(plain) in MARKS else plain
        case tuple() | list():
            return [_plain(entry) for entry in value]
    kind = type(value)
    if kind.__name__ in REQUESTS | STATES | REPLIES:
        parts = {field.name: _plain(getattr(value, field.name)) for field in fields(kind)}  # type: ignore[arg-type]  # one of ours, hence a dataclass
        return {"kind": kind.__name__, **parts}
    raise TypeError(f"{value!r} of type {kind.__name__} has no place in a record")


def _value(plain: Any) -> Any:  # JSON: anything it can hold
    if isinstance(plain, dict):
        if list(plain) == ["float"] and isinstance(plain["float"], str):
            return float(plain["float"])
        inner = plain["mapping"] if list(plain) == ["mapping"] else plain
        return {key: _value(entry) for key, entry in inner.items()}
    return tuple(_value(entry) for entry in plain) if isinstance(plain, list) else plain


def _build(text: str, kinds: Mapping[str, type]) -> object:
    parts = _load(text)
    try:
        kind = kinds[parts.pop("kind")]
        state = parts.pop("state", None)
        values = {key: _value(entry) for key, entry in parts.items()}
        if state is not None:
            name = state.pop("kind")
            values["state"] = STATES[name](**{key: _value(v) for key, v in state.items()})
        return kind(**values)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordError(
            f"The record holds {text[:200]!r}, expected one of {', '.join(kinds)} as this version "
            f"of the program writes it ({error!r}). The record was damaged or changed."
        ) from None


def _dump(plain: object) -> str:
    return json.dumps(plain, allow_nan=False, separators=(",", ":"))


def _load(text: str) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except ValueError as error:
        raise RecordError(
            f"The record holds {text[:200]!r}, expected JSON ({error}). The record was damaged or "
            "changed."
        ) from None
    if not isinstance(data, dict):
        raise RecordError(f"The record holds {text[:200]!r}, expected a JSON object.")
    return data
