"""Data sheets' spellings read as their one meaning; what has several is refused with a way out."""

from typing import Annotated, Any

import pytest
from documents_fits import fits
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from sequencer.documents import dimensions as d
from sequencer.documents.accuracy_texts import ErrorTerms, ErrorText, parse_error
from sequencer.documents.dimensions import Dimension
from sequencer.documents.display_texts import DisplayText, parse_display
from sequencer.documents.parsing import QuantityError

# Common practice, no source: how the trade abbreviates readings, ranges and a display's last place.
OF_READING = ("rdg", "rdg.", "of rdg", "reading", "of reading", "of the reading", "of value", "RDG")
OF_RANGE = ("FS", "f.s.", "of full scale", "full-scale", "range", "of range", "of the range", "rng")
DIGITS = (
    "dgt",
    "dgt.",
    "d.",
    "counts.",
    "lsd.",
    "dgts",
    "digit",
    "digits",
    "d",
    "LSD",
    "counts",
    "count",
    "ct",
    "cts",
    "Digits",
)
SIGNS = ("±", "+/-", "+-", "± ", "+/\u2212")


def rule(dimension: Dimension) -> dict[str, Any]:
    return TypeAdapter(Annotated[ErrorTerms, ErrorText(dimension)]).json_schema()


DISPLAY_RULE = TypeAdapter(Annotated[int, DisplayText()]).json_schema()
RULES = {one: rule(one) for one in (d.VOLTAGE, d.CURRENT, d.TEMPERATURE_DIFFERENCE)}
dimensions = st.sampled_from(tuple(RULES))


def is_read(text: str, dimension: Dimension) -> bool:
    try:
        parse_error(text, dimension)
    except QuantityError:
        return False
    return True


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        *((f"0.5 % {word}", "0.5 % of reading") for word in OF_READING),
        *((f"30 ppm {word}", "30 ppm of reading") for word in OF_READING),
        *((f"0.5 % {word}", "0.5 % of range") for word in OF_RANGE),
        *((f"0.5 % + 3 {word}", "0.5 % of reading + 3 digits") for word in DIGITS),
        *((f"{sign}0.5 %", "0.5 % of reading") for sign in SIGNS),
        *((f"{sign}(0.5 % + 3 d)", "0.5 % of reading + 3 digits") for sign in SIGNS),
        *((f"{sign}0.5 % {sign}3 d", "0.5 % of reading + 3 digits") for sign in SIGNS),
        ("(±0.5 % + ±3 dgt)", "0.5 % of reading + 3 digits"),
        ("±(0.5 % rdg + 3 dgt)", "0.5 % of reading + 3 digits"),
        ("0.5%+3dgt", "0.5 % of reading + 3 digits"),
        ("0.5%rdg+2mV", "0.5 % of reading + 2 mV"),
        ("1e-1%+1e+0mV", "0.1 % of reading + 1 mV"),
        ("1e\u22121 %", "0.1 % of reading"),
        ("30 PPM + 2 µV", "30 ppm of reading + 2 µV"),
        ("30 ppm + 2 \u03bcV", "30 ppm of reading + 2 µV"),
        ("0,5 % + 3 digits", "0.5 % of reading + 3 digits"),
        ("0,005 % FS + 12,34 mV", "0.005 % of range + 12.34 mV"),
        ("0.5\u00a0% + 3\u202fdigits", "0.5 % of reading + 3 digits"),
    ],
)
def test_each_spelling_has_one_meaning_and_an_editor_takes_it(text: str, canonical: str) -> None:
    assert parse_error(text, d.VOLTAGE) == parse_error(canonical, d.VOLTAGE)
    assert fits(text, RULES[d.VOLTAGE], {})


def test_the_greatest_error_is_that_of_the_line() -> None:
    found = parse_error("±(0,02 % rdg + 0,005 % FS + 3 dgt + 2 mV)", d.VOLTAGE)
    assert found == ErrorTerms(2e-4, 5e-5, 3, 2e-3, "V")
    assert found.text() == "0.02 % of reading + 0.005 % of range + 3 digits + 2 mV"


@pytest.mark.parametrize("unit", ["°C", "\u2103", "degC", "K"])
def test_a_thermometers_degrees_are_a_difference(unit: str) -> None:
    assert parse_error(f"±0.5 {unit}", d.TEMPERATURE_DIFFERENCE).fixed == 0.5
    assert fits(f"±0.5 {unit}", RULES[d.TEMPERATURE_DIFFERENCE], {})


def test_a_thermometers_degrees_take_no_prefix() -> None:
    assert not is_read("0.5 m°C", d.TEMPERATURE_DIFFERENCE)
    assert not fits("0.5 m°C", RULES[d.TEMPERATURE_DIFFERENCE], {})


numbers = st.decimals("0.0001", "9000", places=4).map(lambda number: f"{number:f}")


@st.composite
def lines(draw: st.DrawFn) -> tuple[str, str]:
    """A line in the one spelling, and in some other."""
    gap = draw(st.sampled_from(("", " ", "\u00a0")))
    commas = draw(st.booleans())
    kinds = (
        ("% of reading", [f"%{gap}{word}" for word in OF_READING] + ["%"]),
        ("% of range", [f"%{gap}{word}" for word in OF_RANGE]),
        ("digits", DIGITS),
        ("mV", ("mV",)),
    )
    chosen = draw(st.lists(st.sampled_from(kinds), min_size=1, unique_by=lambda kind: kind[0]))
    canonical, spelled = [], []
    for kind, spellings in chosen:
        number = draw(st.integers(1, 9999).map(str) if kind == "digits" else numbers)
        comma = commas and kind != "digits"  # four decimals: no thousands
        canonical.append(f"{number} {kind}")
        word = draw(st.sampled_from(spellings))
        spelled.append(f"{number.replace('.', ',') if comma else number}{gap}{word}")
    sign = draw(st.sampled_from(("", *SIGNS)))
    joint = draw(st.sampled_from(("+", *SIGNS))).strip()
    line = f"{gap}{joint}{gap}".join(spelled)
    if draw(st.booleans()):
        line = f"({gap}{line}{gap})"
    return " + ".join(canonical), f"{gap}{sign}{line}{gap}"


@given(lines())
def test_every_spelling_reads_as_the_canonical_one(line: tuple[str, str]) -> None:
    canonical, spelled = line
    terms = parse_error(spelled, d.VOLTAGE)
    assert terms == parse_error(canonical, d.VOLTAGE)
    assert fits(canonical, RULES[d.VOLTAGE], {})
    assert fits(spelled, RULES[d.VOLTAGE], {})


sizes = st.floats(1e-9, 0.9) | st.just(0.0)


@given(sizes, sizes, st.integers(0, 9999), sizes, dimensions)
def test_what_is_written_is_read_again(
    reading: float, span: float, digits: int, fixed: float, dimension: Dimension
) -> None:
    terms = ErrorTerms(reading, span, digits, fixed, dimension.unit)
    if not (reading or span or digits or fixed):
        return
    text = terms.text()
    again = parse_error(text, dimension)
    assert again.digits == digits
    assert [again.of_reading, again.of_range, again.fixed] == pytest.approx(
        [reading, span, fixed], rel=1e-13
    )
    assert fits(text, RULES[dimension], {})


REFUSED = [
    ("1,000 %", "a comma, for decimals or thousands; write a point"),
    ("0.5 % + 1,000 counts", "a comma, for decimals or thousands"),
    ("1 000 mV", "a gap in a number; write it without"),
    (",5 %", "a decimal comma; write .5"),
    ("0.5 % + 3", 'write "3 digits" if it counts the display\'s steps'),
    ("0.5 % + 2.5 digits", "digits are whole"),
    ("0.02 % + 0.005 %", 'both of the reading; write "of range" behind the other'),
    ("0.1 % FS + 0.2 % range", "both of the range"),
    ("1 mV + 2 V", "both fixed"),
    ("3 d + 2 counts", "both in digits"),
    ("0.5 % FSR", "restate it in % of the channel's range"),
    ("0.5 % of output", 'write "of reading" or "of range"'),
    ("0.5 % of 10 V", 'write "of range"'),
    ("0.5 %, 3 digits", 'write "+" between two parts'),
    ("0.5 % 3 digits", 'write "+" between two parts'),
    ("0.5 % - 3 digits", 'write "+" between two parts'),
    ("0.5 % or 2 mV", "their sum, with +, is on the safe side"),
    ("0.5 % + -2 mV", "a negative part"),
    ("+0.5 %", 'a "+" or "±" with nothing on one side'),
    ("0.5 % + + 2 mV", 'a "+" or "±" with nothing on one side'),
    ("", 'a "+" or "±" with nothing on one side'),
    ("0,03 % + 1.500 µV", "beside a decimal comma a point parts thousands"),
    ("1.5 % + 0,02 mV", "write points for decimals in all of them"),
    ("0.5 % plus or minus 2 mV", 'write "±", or "+" between two parts'),
    ("0.5 % + 1e3 digits", "digits are whole"),
    ("0.5 % + 3½ digits", "digits are whole"),
    (f"0.{'1' * 31} %", "has more digits than it can need"),
    ("(0.5 %", "brackets only round the whole line"),
    ("(0.5 %) + (3 digits)", "brackets only round the whole line"),
    ("0.5 % + 2 mv", 'the unit "mv" is not known'),
    ("0.5 % + 2 mA", "a current"),
    ("0e5 % + 0e-5 mV + 0 digits", "nothing but zero"),
    ("0.5 % + 1000000000000 digits", "9 at most long"),
    ("0" * 121 + " %", "more than 120 characters"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_what_has_no_one_meaning_is_refused_with_what_to_write(text: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_error(text, d.VOLTAGE)
    assert says in caught.value.found
    assert not fits(text, RULES[d.VOLTAGE], {})


def test_digits_beyond_any_float_are_refused() -> None:
    assert not is_read("0.5 % + " + "9" * 100 + " digits", d.VOLTAGE)


SNIPPETS = ("0", "5", ".", ",", "000", "e", "-", "+", "±", " ", "(", ")", "%", "ppm", "mV", "K")
SNIPPETS += ("°C", "of ", "the ", "rdg", "FS", "range", "digits", "d", " + 3 d", "0.5 %", "\n", "µ")


@st.composite
def altered(draw: st.DrawFn) -> str:
    """A line that is read, with snippets put in, taken out or over others."""
    text = draw(lines())[1]
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(text)))
        text = text[:at] + draw(st.sampled_from(SNIPPETS)) + text[at + draw(st.integers(0, 2)) :]
    return text


@given(
    altered()
    | st.lists(st.sampled_from(SNIPPETS), max_size=9).map("".join)
    | st.text(max_size=130),
    dimensions,
)
@example("1e+3 mV", d.VOLTAGE)
@example("1e +3 mV", d.VOLTAGE)
@example("0e-05 mV", d.VOLTAGE)
@example("±(±0.5 % ± 3 d)", d.VOLTAGE)
@example("0.5 %\n+ 0.5 %", d.VOLTAGE)
def test_an_editor_takes_what_is_read_and_nothing_else(text: str, dimension: Dimension) -> None:
    assert is_read(text, dimension) == fits(text, RULES[dimension], {})


@pytest.mark.parametrize(
    ("text", "counts"),
    [
        ("3 1/2 digits", 2000),
        ("3½ digits", 2000),
        ("3 ½ digit", 2000),
        ("4-1/2-digit", 20_000),
        ("4.5 digits", 20_000),
        ("4,5 Digits", 20_000),
        ("5 digits", 100_000),
        ("6000 count", 6000),
        ("6000-count", 6000),
        ("6000 cts", 6000),
        ("6,000 counts", 6000),
        ("50 000 counts", 50_000),
        ("1\u202f000\u202f000 counts", 1_000_000),
    ],
)
def test_a_displays_spellings(text: str, counts: int) -> None:
    assert parse_display(text) == counts
    assert fits(text, DISPLAY_RULE, {})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4¾ digits", "write its counts"),
        ("3 3/4 digits", "write its counts"),
        ("3.75 digits", "write its counts"),
        ("31/2 digits", 'write "3 1/2 digits" or "3.5 digits"'),
        ("6.000 counts", 'write "6000 counts"'),
        ("19,99 counts", "counts are whole"),
        ("1,000 000 counts", "counts are whole"),
        ("±6000 counts", "have no sign"),
        ("1" * 120_000 + " digits", "more than 60 characters"),
        ("1 counts", "from 2 to 1000000000"),
        ("1000000001 counts", "from 2 to 1000000000"),
        ("9.5 digits", "digits are 1 to 9"),
        ("6000", "a number without a unit"),
        ("some", "no number and unit"),
        ("", "no number and unit"),
    ],
)
def test_a_display_that_can_be_read_two_ways_is_refused(text: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_display(text)
    assert says in caught.value.found
    assert not fits(text, DISPLAY_RULE, {})


PIECES = (
    "1",
    "3",
    "6",
    "000",
    "6000",
    " ",
    "-",
    ",",
    ".",
    "5",
    "½",
    "1/2",
    "¾",
    "counts",
    "cts",
    "digits",
)


@given(st.lists(st.sampled_from(PIECES), max_size=7).map("".join) | st.text(max_size=20))
def test_an_editor_takes_a_display_that_is_read_and_nothing_else(text: str) -> None:
    try:
        read = 2 <= parse_display(text) <= 10**9
    except QuantityError:
        read = False
    assert read == fits(text, DISPLAY_RULE, {})
