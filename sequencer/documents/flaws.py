"""From pydantic's errors to mistakes: a path, what was found, what was expected."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from sequencer.documents.parsing import quoted
from sequencer.documents.wanted import found_words, wanted
from sequencer.errors import Mistake

Path = tuple[str | int, ...]

_LABELS = ("figure", "trial", "name")
"""Keys that tell a person which entry of a list is meant."""


MOST_NAMES = 6
"""So many names are still a short list."""

NEAREST_SHOWN = 3

_REQUIRED = "a value: this key is required"
_ENTRY = "one more entry in this list"


@dataclass(frozen=True, slots=True)
class Flaw:
    """A mistake in a document before it is known which file the document came from."""

    path: Path
    found: str
    expected: str

    def under(self, *path: str | int) -> "Flaw":
        """Return the same flaw seen from further outside."""
        return Flaw((*path, *self.path), self.found, self.expected)


def raise_flaws(flaws: Iterable[Flaw]) -> None:
    """Raise one pydantic error that carries several flaws; do nothing without any."""
    found = tuple(flaws)
    if found:
        text = "; ".join(f"found {flaw.found}, expected {flaw.expected}" for flaw in found)
        raise PydanticCustomError("flaws", "{text}", {"text": text, "flaws": found})


def flaws_of(error: ValidationError, data: object, keys: Iterable[str] = ()) -> tuple[Flaw, ...]:
    """Return every flaw that a validation error holds.

    `data` is what was validated, `keys` are the keys that its table may have.
    """
    flaws = (flaw for detail in error.errors() for flaw in _flaws(detail, data, keys))
    return tuple(dict.fromkeys(flaws))


def _flaws(detail: ErrorDetails, data: object, keys: Iterable[str]) -> Iterator[Flaw]:
    path = _real_path(detail["loc"], data, missing=detail["type"] == "missing")
    context: Mapping[str, Any] = detail.get("ctx", {})
    kind, found = detail["type"], detail["input"]
    if kind == "flaws":
        for flaw in context["flaws"]:
            yield flaw.under(*path)
    elif kind == "quantity":
        yield Flaw(path, context["found"], context["expected"])
    elif kind == "missing":
        entry = bool(path) and isinstance(path[-1], int)
        yield Flaw(path, "nothing", _ENTRY if entry else _REQUIRED)
    elif kind == "extra_forbidden":
        yield Flaw(path, "an unknown key", one_of(keys, path[-1], "a key of this table"))
    elif kind == "too_short" and len(found) >= context["min_length"]:
        return  # long enough as it stands; pydantic counts only the entries without mistakes
    elif kind in {"literal_error", "enum"}:
        yield Flaw(path, quoted(found), _one_of_literals(context["expected"], found))
    elif kind in {"union_tag_invalid", "union_tag_not_found"}:
        key = str(context["discriminator"]).strip("'")
        if kind == "union_tag_not_found":
            yield Flaw((*path, key), "nothing", _REQUIRED)
            return
        expected = _one_of_literals(context["expected_tags"], found[key])
        yield Flaw((*path, key), quoted(found[key]), expected)
    else:
        expected = wanted(kind, context, detail["msg"], found, path[-1] if path else "")
        yield Flaw(path, found_words(kind, found), expected)


def _one_of_literals(expected: object, found: object) -> str:
    """Put pydantic's list of possible texts into our own form."""
    names = re.findall(r"'([^']*)'", str(expected))
    if not names or len(names) > MOST_NAMES:
        return one_of(names, found, "one of these") if names else f"one of {expected}"
    return f"one of {str(expected).replace(chr(39), chr(34))}"


def _real_path(location: Sequence[str | int], data: object, *, missing: bool) -> Path:
    """Leave out what pydantic adds to a location (names of union members, of validators)."""
    path: list[str | int] = []
    node = data
    for position, step in enumerate(location):
        inside = (isinstance(node, Mapping) and step in node) or (
            isinstance(node, list | tuple) and isinstance(step, int) and step < len(node)
        )
        if inside:
            node = node[step]  # type: ignore[index]  # looked up above
            path.append(step)
        elif missing and position == len(location) - 1:
            path.append(step)
    return tuple(path)


def key_path(path: Path, data: object) -> str:
    """Return a path as people write it: `limits[0] (sense_error).at_most`."""
    text = ""
    node = data
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            name = step if step.replace("_", "").replace("-", "").isalnum() else f'"{step}"'
            text += f".{name}" if text else name
        try:
            node = node[step]  # type: ignore[index]  # where there is nothing, we stop looking
        except (KeyError, IndexError, TypeError):
            node = None
        if isinstance(step, int) and isinstance(node, Mapping):
            label = next((node[k] for k in _LABELS if isinstance(node.get(k), str)), None)
            text += f" ({label})" if label else ""
    return text or "(the whole file)"


def as_mistakes(flaws: Iterable[Flaw], file: str, data: object) -> tuple[Mistake, ...]:
    """Return flaws as mistakes of a file."""
    return tuple(
        Mistake(file, key_path(flaw.path, data), flaw.found, flaw.expected) for flaw in flaws
    )


def one_of(known: Iterable[str], found: object, what: str) -> str:
    """Return which names were possible; of many the nearest only, and how many there are."""
    names = sorted(known)
    near = get_close_matches(str(found), names, n=1)
    hint = f' (did you mean "{near[0]}"?)' if near else ""
    if len(names) <= MOST_NAMES:
        return f"{what}{hint}: {', '.join(names) or 'there is none'}"
    shown = get_close_matches(str(found), names, n=NEAREST_SHOWN, cutoff=0.0)
    return f"{what}{hint}: {', '.join(shown)} or {len(names) - len(shown)} more"
