"""A table of commands, found by header: optional nodes, short and long forms, numeric suffixes."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum
from itertools import product
from typing import Final

from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Parameter, Value, short_form

_NODE: Final = re.compile(r"\[:?([A-Za-z#]+):?\]|:?([A-Za-z#]+)")


class Kind(Enum):
    """What carrying a command out means for bench time."""

    PLAIN = "plain"
    """Talks about the instrument itself; never costs time."""
    QUESTION = "question"
    """Waits for a measurement under way in the same instrument."""
    SETTING = "setting"
    """Ends every measurement under way first."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command.

    Parameters
    ----------
    pattern
        As the standard writes it: ``[SENSe:]VOLTage[:DC]:RANGe[:UPPer]?``; ``#`` after a node
        allows a numeric suffix, which is given to the handler first (1 when left out).
    handler
        Gets the values of the parameters given; returns the answer of a question, else None.
    parameters
        In order; optional ones last.
    """

    pattern: str
    handler: Callable[..., str | None]
    parameters: tuple[Parameter, ...] = ()
    kind: Kind = Kind.SETTING
    unit: str = ""
    """Of the number that it answers; an instrument with that quirk writes it down."""

    @property
    def sets(self) -> bool:
        """Whether it changes a setting, the common commands apart."""
        return self.kind is Kind.SETTING and not self.query and self.pattern[0] != "*"

    @property
    def query(self) -> bool:
        """Whether it asks."""
        return self.pattern.endswith("?")

    def values(self, texts: tuple[str, ...]) -> tuple[Value, ...]:
        """Return the parameters' values; raises −108 or −109 when there are too many or too few."""
        if len(texts) > len(self.parameters):
            raise ScpiError(-108, texts[len(self.parameters)])
        for missing in self.parameters[len(texts) :]:
            if not missing.optional:
                raise ScpiError(-109, self.pattern)
        return tuple(
            parameter.read(text) for parameter, text in zip(self.parameters, texts, strict=False)
        )


class Table:
    """Commands by every spelling of their header, in upper case, without numeric suffixes."""

    def __init__(self, commands: Iterable[Command]) -> None:
        self._plain: dict[str, Command] = {}
        self._numbered: dict[str, Command] = {}
        for command in commands:
            for spelling in _spellings(command.pattern):
                bare = spelling.replace("#", "")
                (self._numbered if "#" in spelling else self._plain)[bare] = command

    def find(self, header: str, *, query: bool) -> tuple[Command, tuple[int, ...]]:
        """Return the command of an absolute header in upper case and its numeric suffixes.

        Raises
        ------
        ScpiError
            −113 for an unknown header.
        """
        key = header + "?" if query else header
        command = self._plain.get(key)
        if command is not None:
            return command, ()
        bare = re.sub(r"\d+(?=:|\?|\Z)", "", key)
        command = self._numbered.get(bare)
        if command is None:
            raise ScpiError(-113, header + ("?" if query else ""))
        wanted = [
            bool("#" in (plain or optional)) for optional, plain in _NODE.findall(command.pattern)
        ]
        numbers = tuple(int(n[:9]) for n in re.findall(r"(\d+)(?=:|\?|\Z)", key))
        if len(numbers) > sum(wanted):
            raise ScpiError(-113, header)
        return command, numbers or (1,)


def _spellings(pattern: str) -> list[str]:
    query = "?" if pattern.endswith("?") else ""
    bare = pattern.removesuffix("?")
    if bare.startswith("*"):
        return [bare.upper() + query]
    choices: list[tuple[str, ...]] = []
    for optional, plain in _NODE.findall(bare):
        node = plain or optional
        forms = tuple(dict.fromkeys((short_form(node), node.upper())))
        choices.append((*forms, "") if optional else forms)
    return [":".join(node for node in nodes if node) + query for nodes in product(*choices)]
