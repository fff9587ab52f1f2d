"""Requests and replies survive the way to JSON and back exactly."""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import RecordError
from sequencer.record.encode import decode_reply, decode_request, encode_reply, encode_request
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
    Settle,
    Settled,
    SupplyState,
)

NONE = Readings({}, {}, {})
number = st.floats()
text = st.text()
numbers = st.dictionaries(text, number, max_size=3)

load_state = st.builds(
    LoadState, st.sampled_from(["current", "voltage", "resistance", "power"]), number, st.booleans()
)
supply_state = st.builds(
    SupplyState,
    voltage=st.none() | number,
    current_limit=st.none() | number | st.just("maximum"),
    output=st.none() | st.booleans(),
    proof_channel=text,
    band=number,
)
request = st.one_of(
    st.builds(Apply, load_state | supply_state),
    st.builds(Settle, numbers, number, number, number),
    st.builds(
        Read,
        st.lists(text, max_size=3).map(tuple),
        st.integers(0, 10**9),
        number,
        st.dictionaries(text | st.just("kind") | st.just("float"), number | text, max_size=3),
    ),
    st.builds(Ask, text, st.none() | text, number, number, number),
    st.builds(Note, text, st.sampled_from(["note", "warning"])),
)
reply = st.one_of(
    st.builds(
        Applied,
        number,
        st.dictionaries(text, number | text | st.booleans() | st.integers(-9, 9), max_size=3),
    ),
    st.builds(Settled, number, st.booleans(), number, numbers, numbers),
    st.builds(Answered, number, st.booleans(), number),
    st.builds(Noted, number),
)


def same(left: object, right: object) -> bool:
    """Compare as exactly as can be: types, the sign of zero, and NaN as equal to itself."""
    if type(left) is not type(right):
        return False
    if isinstance(left, float) and isinstance(right, float):
        return (isnan(left) and isnan(right)) or left.hex() == right.hex()
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        return list(left) == list(right) and all(same(left[key], right[key]) for key in left)
    if is_dataclass(left):
        names = [field.name for field in fields(left)]
        return all(same(getattr(left, name), getattr(right, name)) for name in names)
    return left == right


@given(request)
def test_every_request_comes_back_as_it_was(asked: object) -> None:
    assert same(decode_request(encode_request(asked)), asked)  # type: ignore[arg-type]


@given(reply)
def test_every_reply_comes_back_as_it_was(given_reply: object) -> None:
    assert same(decode_reply(encode_reply(given_reply), NONE), given_reply)  # type: ignore[arg-type]


@given(request)
def test_the_text_is_json_that_strict_readers_take(asked: object) -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    json.loads(encode_request(asked), parse_constant=refuse)  # type: ignore[arg-type]


def test_numpy_numbers_are_stored_as_plain_ones() -> None:
    back = decode_reply(
        encode_reply(Applied(np.float64(0.1), {"on": np.bool_(True)})),  # type: ignore[dict-item]
        NONE,
    )
    assert back == Applied(0.1, {"on": True})


def test_a_reply_whose_rows_are_missing_is_refused() -> None:
    rows = {"voltage.sense": np.array([1.0, 2.0])}
    body = encode_reply(Readings(rows, rows, rows))
    short = {"voltage.sense": np.array([1.0])}
    with pytest.raises(RecordError, match="missing"):
        decode_reply(body, Readings(short, short, short))


@pytest.mark.parametrize(
    "body",
    [
        "",
        "[]",
        "{}",
        '{"kind":"Explode"}',
        '{"kind":"Note"}',
        '{"kind":"Apply","state":{"kind":"LoadState","mode":"current"}}',
        '{"kind":"Apply","state":3}',
        '{"kind":["Note"]}',
        '{"kind":"Note","text":{"float":"x"},"severity":"note"}',
        '{"kind":"LoadState","mode":"current","level":1.0,"on":true}',
    ],
)
def test_a_broken_request_is_an_error_that_quotes_it(body: str) -> None:
    with pytest.raises(RecordError, match="record holds"):
        decode_request(body)
