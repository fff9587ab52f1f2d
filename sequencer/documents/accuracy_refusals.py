"""Why a data sheet's line is not read, and what to write in its place."""

import re

from sequencer.documents.accuracy_spellings import NUMBER
from sequencer.documents.parsing import comma_words, kind_of

_A_NUMBER = r"[0-9.,]*[0-9](?:[eE][+-]?[0-9]+)?"

_HINTS = (
    (r"(?i)\bplus\b|\bminus\b", 'write "±", or "+" between two parts'),
    (r"(?i)\btyp\b|\bat\b|@", 'leave out what follows the error: "typ.", or at which temperature'),
    (r"^$", 'a "+" or "±" with nothing on one side'),
    (
        r"(?i)\bor\b|whichever",
        "the greater of two is not known here; their sum, with +, is on the safe side",
    ),
    (r"^[-\u2212\u2013]", "a negative part"),
    (r"[0-9]\.[0-9]+\.[0-9]", "more than one point in a number"),
    (r"[()\[\]]", "brackets only round the whole line"),
    (
        r"[0-9][ '’\u00a0\u2009\u202f][0-9]{3}(?![0-9])",
        "a gap in a number; write it without",
    ),
    (
        r"(?i)\bfsr\b|full[ -]?scale[ -]range|\bspan\b",
        "this may reach from the lowest to the highest value; restate it in % of the channel's "
        "range",
    ),
    (r"(?i)\bof\s+[0-9]", 'the channel\'s range says of how much; write "of range"'),
    (rf"{_A_NUMBER}.*?[^0-9.,eE+-].*?{_A_NUMBER}", 'write "+" between two parts'),
    (
        r"(?i)^[0-9.,e+½-]+\s*(?:d|di?gi?t?s?|counts?|cts?|lsd)\.?$",
        "digits are whole, and 9 at most long",
    ),
    (r"(?i)(?:%|ppm)\s*\S", 'of what is not known; write "of reading" or "of range"'),
)
"""What a part looks like, and what is said of it; the first that fits."""


def why_not(part: str) -> str:
    """Return what is wrong with a part of a line, in words."""
    commas = comma_words(part)
    if commas is not None and not re.match(f"(?:{NUMBER})(?![0-9.,])", part):
        return commas
    for looks, words in _HINTS:
        if re.search(looks, part):
            return words
    if re.fullmatch(r"[0-9]+", part):
        return f'a number without a unit; write "{part} digits" if it counts the display\'s steps'
    number = re.match(_A_NUMBER, part)
    if number is not None and not re.fullmatch(NUMBER, number[0]):
        return f"the number {number[0]} has more digits than it can need"
    return kind_of(part)
