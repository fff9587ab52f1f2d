"""Random answers to every question of every shipped dialect: error, flag, or what stands there.

A number counts as good only where the answer, as it came, is one number as the dialect declares it,
with one of the units declared; then the value is that number.
"""

import math
import re

from hypothesis import example, given
from hypothesis import strategies as st

from drivers.answers import number_parser, token
from drivers.dialect import Question
from drivers.dialect_files import read_dialect, shipped

DIALECTS = {name: read_dialect(name) for name in shipped()}
QUESTIONS: list[tuple[str, str, Question]] = [
    (name, kind, question)
    for name, dialect in DIALECTS.items()
    for kind, question in (
        *dialect.questions.items(),
        *(
            (key, setting.read_back)
            for key, setting in dialect.settings.items()
            if setting.read_back is not None
        ),
    )
]
PLAIN_NUMBER = re.compile(rb"[ \t\r\n\v\f]*([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?)[ \t\r\n\v\f]*([^ ]*)")

PIECES = st.sampled_from(
    "+ - . 1 29.975 E e+01 E-3 , ; V mV A OHM S W 9.9E37 9.91E37 -9.9E37 nan inf ON CURR 0 _ "
    "\xb5 \x00 \xef\xbb\xbf \r ERROR 0x10 1e999".encode("latin-1").split(b" ")
) | st.just(b" ")
ANSWERS = st.lists(PIECES, max_size=6).map(b"".join) | st.binary(max_size=40)


@given(st.sampled_from(QUESTIONS), ANSWERS)
@example(QUESTIONS[0], b"1_000")
@example(QUESTIONS[0], b"\xef\xbb\xbf29.975")
@example(QUESTIONS[0], "२९".encode())
def test_no_answer_is_taken_for_what_it_is_not(
    asked: tuple[str, str, Question], answer: bytes
) -> None:
    _, _, question = asked
    if question.tokens:
        try:
            name = token(answer, question.tokens)
        except ValueError:
            return
        said = answer.decode("latin-1").strip().upper()
        assert said in {spelling.upper() for spelling in question.tokens[name]}
        return
    parse = number_parser(question.suffixes, question.overload_texts, question.factor)
    try:
        value, flag = parse(answer)
    except ValueError:
        return
    if flag:
        assert math.isnan(value)
        return
    match = PLAIN_NUMBER.fullmatch(answer)
    assert match is not None, answer
    unit = match[2].decode("latin-1")
    assert unit in {"", *question.suffixes}
    number = float(match[1])
    assert abs(number) < 1e37
    assert value == number * question.suffixes.get(unit, 1.0) * question.factor


def test_every_shipped_dialect_is_asked_about() -> None:
    assert {name for name, _, _ in QUESTIONS} == set(DIALECTS)
