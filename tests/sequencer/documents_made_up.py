"""Small valid documents that tests change in one place."""

from copy import deepcopy
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from sequencer.documents.flaws import as_mistakes, flaws_of
from sequencer.documents.quantities import PositiveAmperes, PositiveSeconds, PositiveVolts, Ratio
from sequencer.documents.tables import Strict

UNIT: dict[str, Any] = {
    "unit": {"tag": "W-17", "control": "hand"},
    "ratings": {
        "voltage": "30 V",
        "current": "3 A",
        "line_voltage": "230 V",
        "line_frequency": "50 Hz",
    },
    "ranges": [
        {"name": "low", "voltage_from": "0 V", "voltage_to": "15 V", "unregulated": "26 V"},
        {"name": "high", "voltage_from": "15 V", "voltage_to": "30 V", "unregulated": "42 V"},
    ],
    "limits": [{"figure": "load_regulation", "at_most": "0.02 % + 2 mV"}],
}

BENCH: dict[str, Any] = {
    "bench": {"name": "table", "operator": "terminal", "make_safe": ["load", "supply"]},
    "instruments": {
        "meter": {
            "role": "voltmeter",
            "dialect": "scpi-voltmeter",
            "address": "TCPIP0::192.168.1.20::5025::SOCKET",
        },
        "sink": {
            "role": "load",
            "dialect": "scpi-load",
            "address": "TCPIP0::192.168.1.21::5025::SOCKET",
        },
        "warmth": {"role": "thermometer", "dialect": "scpi-thermometer", "address": "GPIB0::9"},
    },
    "channels": {
        "voltage.sense": {
            "instrument": "meter",
            "function": "voltage",
            "accuracy": {"gain": "0.003 %"},
        },
        "current.load": {
            "instrument": "sink",
            "function": "current",
            "accuracy": {"offset": "3 mA"},
        },
        "temperature.heatsink": {"instrument": "warmth", "function": "temperature"},
    },
    "load": {
        "instrument": "sink",
        "current": "5 A",
        "power": "150 W",
        "voltage": "60 V",
        "lowest_voltage": "0.8 V",
    },
}

PROFILE: dict[str, Any] = {
    "profile": {"name": "short", "unit": "w-17", "bench": "simulated"},
    "trials": [{"trial": "steps", "voltage": "30 V", "current": "3 A"}],
}


class StepSettings(BaseModel):
    """Settings of a made-up trial."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    voltage: PositiveVolts
    current: PositiveAmperes
    fractions: tuple[Ratio, ...] = (0.5, 1.0)
    lowest_voltage: PositiveVolts = 1.0
    period: PositiveSeconds = 0.25
    channels: tuple[str, ...] = ()


class SweepSettings(BaseModel):
    """Settings of a made-up trial that takes the unit to its limit."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    voltage: PositiveVolts
    lowest_voltage: PositiveVolts = 1.0


SETTINGS: dict[str, type[BaseModel]] = {"steps": StepSettings, "sweep": SweepSettings}
NEEDS = {"steps": ("voltage.sense", "current."), "sweep": ("voltage.sense", "current.")}


def changed(document: dict[str, Any], *path: str | int, to: object = None) -> dict[str, Any]:
    """Return a copy of a document with one key changed, or taken out where `to` is None."""
    copy = deepcopy(document)
    node: Any = copy
    for step in path[:-1]:
        node = node.setdefault(step, {}) if isinstance(node, dict) else node[step]
    if to is None:
        del node[path[-1]]
    else:
        node[path[-1]] = to
    return copy


def mistakes(model: type[Strict], data: dict[str, Any]) -> list[str]:
    """Return the lines that a person reads, without the file."""
    try:
        model.model_validate(data)
    except ValidationError as error:
        found = as_mistakes(flaws_of(error, data, model.model_fields), "f", data)
        return [str(mistake).removeprefix("f: ") for mistake in found]
    return []
