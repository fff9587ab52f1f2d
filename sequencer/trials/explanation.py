"""What the code itself says about each figure: read from the docstrings beside it.

A figure is documented where it is computed, in the docstring of a trial's `figures`, of its module,
or of a module of the same package that it uses:

    load_change, load_change_ratio (V, signed; 1)
        The change from no load to full current, and the same over the set voltage. Formula:
        V(I_max) − V(0). Components: scatter between rounds; voltmeter. Source: IEC 61204.

Names and units stand at the margin, the rest is indented. What comes before the first of the words
Formula, Components and Source is the definition. A paragraph of the same docstring that begins with
Components, or says the source, holds for its figures that don't say it themselves. Trials of other
packages are read in the same way.
"""

import inspect
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import ModuleType
from typing import Any

from sequencer.trials.trial import Trial

NAMES = r"[a-z][a-z0-9_]*(?:, [a-z][a-z0-9_]*)*"
GROUP = re.compile(rf"({NAMES}) \(([^()\n]+)\)")
ENTRY = re.compile(rf"{GROUP.pattern}(?:, {GROUP.pattern})*")
LABELS = re.compile(r"(?:^|(?<=[.:]) )(Formula|Components|Source): ")
NO_SOURCE = re.compile(r"(?:Definition: )?[Cc]ommon practice, no\s+source\.?$")
SHARED_SOURCE = re.compile(
    r"(?:^|(?<=\. ))(?:Source[^:.]*: (.+?)\.(?= |$)|((?:[^.]|\.(?! ))*no source)\.)"
)


@dataclass(frozen=True, slots=True)
class Explanation:
    """What a figure is: its trial, definition, formula, parts of its budget and source."""

    name: str
    trial: str
    unit: str
    definition: str
    formula: str
    components: tuple[str, ...]
    source: str


def explanations(trial: Trial[Any]) -> dict[str, Explanation]:
    """Return what the code of a trial says about the figures that it gives, by name.

    A figure that its code does not document is left out.
    """
    found: dict[str, Explanation] = {}
    for text in _docstrings(trial):
        components, source = _shared(text)
        for names, body in _entries(text):
            for name, unit in names.items():
                if name in trial.gives and name not in found:
                    one = _explanation(name, trial.name, unit, body)
                    found[name] = replace(
                        one, components=one.components or components, source=one.source or source
                    )
    return {name: found[name] for name in trial.gives if name in found}


def _docstrings(trial: Trial[Any]) -> Iterator[str]:
    """Yield the docstrings of a trial's code, those nearest to its figures first."""
    home = sys.modules[trial.figures.__module__]
    yield inspect.getdoc(trial.figures) or ""
    for module in _modules(home):
        yield inspect.getdoc(module) or ""


def _modules(home: ModuleType) -> Iterator[ModuleType]:
    """Yield a module and those of its own package that it takes names from."""
    yield home
    package = home.__name__.rpartition(".")[0] or home.__name__
    seen = {home.__name__}
    for value in vars(home).values():
        name = value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", "")
        if isinstance(name, str) and name.startswith(f"{package}.") and name not in seen:
            seen.add(name)
            if name in sys.modules:
                yield sys.modules[name]


def _entries(text: str) -> Iterator[tuple[dict[str, str], str]]:
    """Yield names with their units, and the text, of every entry in a docstring."""
    lines = text.splitlines()
    for number, line in enumerate(lines):
        if ENTRY.fullmatch(line) is None:
            continue
        body = []
        for following in lines[number + 1 :]:
            if following and not following.startswith("    "):
                break
            body.append(following.strip())
        names: dict[str, str] = {}
        for group, stated in GROUP.findall(line):
            units = [unit.partition(",")[0].strip() for unit in stated.split(";")]
            for place, name in enumerate(group.split(", ")):
                names[name] = units[min(place, len(units) - 1)]
        yield names, " ".join(body).strip()


def _shared(text: str) -> tuple[tuple[str, ...], str]:
    """Return components and source that a docstring's own paragraphs state for its figures."""
    components: tuple[str, ...] = ()
    source = ""
    for block in text.split("\n\n"):
        paragraph = " ".join(line for line in block.splitlines() if not line.startswith("    "))
        stated = SHARED_SOURCE.search(paragraph)
        if stated is not None:
            source = f"{(stated[1] or stated[2]).strip()}."
            paragraph = paragraph[: stated.start()]
        if paragraph.startswith("Components: "):
            components = _listed(paragraph.removeprefix("Components: "))
    return components, source


def _listed(text: str) -> tuple[str, ...]:
    return tuple(one.strip().rstrip(".") for one in text.split(";") if one.strip())


def _explanation(name: str, trial: str, unit: str, body: str) -> Explanation:
    definition, *rest = LABELS.split(body)
    parts = dict(zip(rest[::2], (text.strip() for text in rest[1::2]), strict=True))
    source = parts.get("Source", "")
    for key, text in {"": definition.strip(), **parts}.items():
        missing = NO_SOURCE.search(text)
        if missing and key != "Source":  # "Common practice, no source." without a label
            source = missing[0].removeprefix("Definition: ")
            shorter = text[: missing.start()].strip()
            if key:
                parts[key] = shorter
            else:
                definition = shorter
    return Explanation(
        name=name,
        trial=trial,
        unit=unit,
        definition=definition.strip(),
        formula=parts.get("Formula", ""),
        components=_listed(parts.get("Components", "")),
        source=source,
    )
