"""Command trees of electronic loads that are in common use (common practice, no source)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from simulated_bench.faces import LoadMode


@dataclass(frozen=True, slots=True)
class LoadTree:
    """How one family spells a load; ``{}`` in `level` stands for the quantity."""

    mode: str
    mode_words: Mapping[str, LoadMode]
    mode_said: Mapping[LoadMode, str]
    level: str
    switch: str
    switch_said: tuple[str, str]
    """Off and on."""
    protection: str
    measure: tuple[str, ...]


LEVELS: Final[dict[str, LoadMode]] = {
    "CURRent": "current",
    "VOLTage": "voltage",
    "RESistance": "resistance",
    "POWer": "power",
}
MEASURE: Final = "MEASure[:SCALar]"

USUAL: Final = LoadTree(
    mode="[SOURce:]FUNCtion[:MODE]",
    mode_words=LEVELS,
    mode_said={"current": "CURR", "voltage": "VOLT", "resistance": "RES", "power": "POW"},
    level="[SOURce:]{}[:LEVel][:IMMediate][:AMPLitude]",
    switch="INPut[:STATe]",
    switch_said=("0", "1"),
    protection="INPut:PROTection",
    measure=(MEASURE,),
)

STATIC_LEVELS: Final = LoadTree(
    mode="MODE",
    mode_words={"CC": "current", "CV": "voltage", "CR": "resistance", "CP": "power"},
    mode_said={"current": "CC", "voltage": "CV", "resistance": "CR", "power": "CP"},
    level="{}:STATic:L#",
    switch="LOAD[:STATe]",
    switch_said=("OFF", "ON"),
    protection="LOAD:PROTection",
    measure=(MEASURE, "FETCh"),
)
"""Levels are numbered, of which only the first acts; the switch is named after the load."""

MODE_WORDS: Final = LoadTree(
    mode="[SOURce:]MODE",
    mode_words=LEVELS,
    mode_said={mode: word.upper() for word, mode in LEVELS.items()},
    level="[SOURce:]{}[:LEVel]",
    switch="[SOURce:]INPut[:STATe]",
    switch_said=("OFF", "ON"),
    protection="[SOURce:]INPut:PROTection",
    measure=("FETCh",),
)
"""A mode of its own name, answers in words, and readings only as ``FETCh``."""

SHORT_MODES: Final = LoadTree(
    mode="LOAD:MODE",
    mode_words={"CC": "current", "CV": "voltage", "CR": "resistance", "CP": "power"},
    mode_said={"current": "CC", "voltage": "CV", "resistance": "CR", "power": "CP"},
    level="LOAD:{}[:LEVel]",
    switch="OUTPut[:STATe]",
    switch_said=("0", "1"),
    protection="OUTPut:PROTection",
    measure=(MEASURE,),
)
"""Everything under one root, and a load whose input is called an output."""

TREES: Final = {
    "static levels": STATIC_LEVELS,
    "mode words": MODE_WORDS,
    "short modes": SHORT_MODES,
}
"""By trait."""
