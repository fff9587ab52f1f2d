"""All readings as a table for other programs: each with its unit and the state it was taken in."""

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from sequencer.documents.guards import quantity_of
from sequencer.record.read import RecordReader
from sequencer.requests import Apply, LoadState, Read, Request, SupplyState

if TYPE_CHECKING:
    import pandas as pd

UNITS = {"voltage": "V", "line": "V", "current": "A", "temperature": "°C"}
"""By the quantity in a channel's name; a safety input is 0 or 1 and has none."""

LOAD_UNITS = {"current": "A", "voltage": "V", "resistance": "Ω", "power": "W"}

STATE = ("load_mode", "load_setting", "load_unit", "supply_setting_v", "point")
"""What was set when a reading was taken; `point` is what the trial calls the place in it."""

FIRST = ("trial", "trial_name", "request", "tick", "role", "channel", "asked_at_s", "answered_at_s")

DIGITS = 12
"""More than any meter has, and fewer than would show how floats round."""

State = dict[str, str | float]


def readings_table(reader: RecordReader) -> "pd.DataFrame":
    """Return every reading of a record, in the order read.

    Columns: trial (its number; 1000000 is the check at the start), trial_name, request (one number
    for each step), tick, role (read, settle, ask, or watch for a guard), channel, asked_at_s and
    answered_at_s (bench time), value and its unit, then what was set at that time: load_mode ("off"
    for none), load_setting with load_unit, supply_setting_v, and point, the trial's own name for
    the place, such as "leg=down; region=corner". Last raw, the answer as it came, and flag.
    """
    frame = reader.frame()
    states = _states(reader.requests())
    frame["unit"] = [UNITS.get(quantity_of(channel), "") for channel in frame["channel"]]
    for name in STATE:
        frame[name] = [states[request][name] for request in frame["request"]]
    return frame[[*FIRST, "value", "unit", *STATE, "raw", "flag"]]


def readings_csv(reader: RecordReader) -> str:
    """Return the table of readings as CSV with a head line."""
    return readings_table(reader).to_csv(index=False, float_format=f"%.{DIGITS}g")


def _states(requests: Iterable[tuple[int, Request]]) -> Mapping[int, State]:
    """Return by request what was set when it was asked."""
    now: State = {"load_mode": "off", "load_setting": 0.0, "load_unit": "", "point": ""}
    now["supply_setting_v"] = math.nan
    found: dict[int, State] = {}
    for seq, request in requests:
        match request:
            case Apply(state=LoadState() as load):
                now["load_mode"] = load.mode if load.on else "off"
                now["load_setting"] = load.level if load.on else 0.0
                now["load_unit"] = LOAD_UNITS[load.mode] if load.on else ""
            case Apply(state=SupplyState(voltage=float(voltage))):
                now["supply_setting_v"] = voltage
        point = (
            "; ".join(f"{key}={value}" for key, value in request.tag.items())
            if isinstance(request, Read)
            else ""
        )
        found[seq] = now | {"point": point}
    return found
