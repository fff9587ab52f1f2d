"""Names that one table of a bench uses and another declares, looked at in raw data.

Raw, so that a mistake in one entry does not hide the names that are wrong elsewhere; what is not
even a table is passed over here, because the model reports it.
"""

from collections.abc import Collection, Iterator, Mapping
from difflib import get_close_matches
from typing import Any

from sequencer.documents.flaws import Flaw, one_of
from sequencer.documents.guards import BY_QUANTITY, INTERLOCK, quantity_of
from sequencer.documents.parsing import quoted

Table = Mapping[str, Any]

FUNCTIONS_OF_ROLES: Mapping[str, tuple[str, ...]] = {
    "voltmeter": ("voltage",),
    "ammeter": ("current",),
    "thermometer": ("temperature",),
    "load": ("voltage", "current"),
    "supply": ("voltage", "current"),
    "line_source": ("voltage", "current"),
    "oscilloscope": ("voltage",),
    "interlock": ("state",),
    "scanner": (),
    "switch": (),
}
"""What an instrument in a role can be asked to measure; other roles measure nothing by name."""


WHOLE_CURRENT = ("current.shunt", "current.panel")
"""Channels that see what flows in the load and in resistors beside it."""

KNOWN = (*BY_QUANTITY, INTERLOCK)

SWITCHED_OFF = ("load", "supply")
"""The roles that making safe knows how to switch off, in the usual order."""


def crossed(data: Table) -> Iterator[Flaw]:
    """Yield every name that does not fit the rest of a bench document."""
    instruments = _entries(data, "instruments")
    if not instruments:
        return  # told once; every name of an instrument would be told again
    roles = {name: _text(item, "role") for name, item in instruments.items()}
    yield from _addresses(data, instruments)
    by_eye = {name for name, item in instruments.items() if item.get("operator") is not None}
    yield from _channels(data, roles, by_eye)
    yield from _leads(_entries(data, "channels"), _table(data, "bench").get("operator", "none"))
    load = _table(data, "load").get("instrument")
    if isinstance(load, str) and roles.get(load) != "load":
        loads = [name for name, role in roles.items() if role == "load"]
        expected = one_of(loads, load, "an instrument whose role is load")
        yield Flaw(("load", "instrument"), quoted(load), expected)
    yield from _resistors(_table(data, "load"), roles, _table(data, "channels"))
    channels = _table(data, "channels")
    for channel in _table(data, "guards") if channels else ():
        if channel not in channels and quantity_of(channel) in BY_QUANTITY:
            expected = one_of(channels, channel, "a channel of this bench")
            yield Flaw(("guards", channel), quoted(channel), expected)
    yield from _operation(_table(data, "bench"), roles)


def _addresses(data: Table, instruments: Mapping[str, Table]) -> Iterator[Flaw]:
    first: dict[str, str] = {}
    operator = _table(data, "bench").get("operator", "none")
    for name, item in instruments.items():
        if (reader := item.get("operator")) is not None:
            if reader != operator:
                expected = f"{quoted(operator)}, as in [bench]: the same person reads and acts"
                yield Flaw(("instruments", name, "operator"), quoted(reader), expected)
            continue
        address = item.get("address")
        if address is None and "simulation" not in data:
            expected = "an address; only a bench with a [simulation] table can do without"
            yield Flaw(("instruments", name, "address"), "nothing", expected)
        if not isinstance(address, str):
            continue
        if address in first:
            expected = f"an address of its own ({first[address]} has this one)"
            yield Flaw(("instruments", name, "address"), quoted(address), expected)
        first.setdefault(address, name)
    clocks = [name for name, item in instruments.items() if item.get("role") == "time_base"]
    for name in clocks[1:]:
        expected = f"at most one time base ({clocks[0]} is one already)"
        yield Flaw(("instruments", name, "role"), quoted("time_base"), expected)


def _channels(data: Table, roles: Mapping[str, Any], by_eye: Collection[str]) -> Iterator[Flaw]:
    for name, channel in _entries(data, "channels").items():
        quantity, dot, place = name.partition(".")
        if quantity not in KNOWN or not dot or not place:
            near = get_close_matches(quantity, KNOWN, n=1)
            hint = f'; did you mean "{near[0]}.{place}"?' if near and place else ""
            expected = f"a quantity ({', '.join(KNOWN)}) and a place, such as voltage.sense{hint}"
            yield Flaw(("channels", name), quoted(name), expected)
        instrument, function = channel.get("instrument"), channel.get("function")
        if isinstance(instrument, str) and instrument not in roles:
            expected = one_of(roles, instrument, "an instrument of this bench")
            yield Flaw(("channels", name, "instrument"), quoted(instrument), expected)
        role = roles.get(instrument) if isinstance(instrument, str) else None
        can = FUNCTIONS_OF_ROLES.get(role) if isinstance(role, str) else None
        if can is not None and isinstance(function, str) and function not in can:
            expected = f"{' or '.join(can) or 'no function'}: {instrument} is used as a {role}"
            yield Flaw(("channels", name, "function"), quoted(function), expected)
            continue
        yield from _routed(name, channel, roles, by_eye)
        yield from _referenced(name, channel, _entries(data, "channels"))
        gives = "current" if "shunt" in channel and function == "voltage" else function
        wanted = {"line": "voltage", INTERLOCK: "state"}.get(quantity, quantity)
        if quantity in KNOWN and gives in (*BY_QUANTITY, "state") and gives != wanted:
            found = f"a channel that gives a {gives}"
            yield Flaw(("channels", name), found, f"a {wanted}, as the channel's name says")


def _referenced(name: str, channel: Table, channels: Mapping[str, Table]) -> Iterator[Flaw]:
    """Look at the channel that knows the temperature of a thermocouple's terminals."""
    reference = channel.get("reference")
    if not isinstance(reference, str):
        return
    known = [
        other
        for other, one in channels.items()
        if one.get("function") == "temperature" and other != name and "reference" not in one
    ]
    if reference not in known:
        expected = one_of(
            known, reference, "a thermometer's channel without a reference of its own"
        )
        yield Flaw(("channels", name, "reference"), quoted(reference), expected)


def _routed(
    name: str, channel: Table, roles: Mapping[str, Any], by_eye: Collection[str]
) -> Iterator[Flaw]:
    through, meter = channel.get("through"), _text(channel, "instrument")
    for key in ("through", "input", "integration"):
        if meter in by_eye and key in channel:
            expected = "no such key: the meter is read by a person"
            yield Flaw(("channels", name, key), f"a key {key}", expected)
    if isinstance(through, str) and roles.get(through) != "scanner":
        scanners = [other for other, role in roles.items() if role == "scanner"]
        expected = one_of(scanners, through, "an instrument whose role is scanner")
        yield Flaw(("channels", name, "through"), quoted(through), expected)


def _leads(channels: Mapping[str, Table], operator: Any) -> Iterator[Flaw]:
    """Find channels that don't say where the leads are while others of their meter do."""
    moved = {_text(c, "instrument") for c in channels.values() if "leads" in c} - {None}
    for name, channel in channels.items():
        if _text(channel, "instrument") in moved and "leads" not in channel:
            expected = 'a place such as "sense terminals", as other channels of this meter say'
            yield Flaw(("channels", name, "leads"), "nothing", expected)
        if "leads" in channel and operator == "none":
            expected = "an operator in [bench]: somebody has to move them"
            yield Flaw(("channels", name, "leads"), "leads that nobody can move", expected)


def _resistors(load: Table, roles: Mapping[str, Any], channels: Table) -> Iterator[Flaw]:
    given = load.get("resistors")
    resistors = given if isinstance(given, list) else []
    for index, one in enumerate(resistors):
        switch = one.get("switch") if isinstance(one, Mapping) else None
        if isinstance(switch, str) and roles.get(switch) != "switch":
            switches = [name for name, role in roles.items() if role == "switch"]
            expected = one_of(switches, switch, "an instrument whose role is switch")
            yield Flaw(("load", "resistors", index, "switch"), quoted(switch), expected)
    if resistors and not any(channel in channels for channel in WHOLE_CURRENT):
        expected = f"a channel that sees the whole current: {' or '.join(WHOLE_CURRENT)}"
        yield Flaw(("load", "resistors"), "resistors whose current nothing measures", expected)


def _operation(bench: Table, roles: Mapping[str, Any]) -> Iterator[Flaw]:
    operator = _text(bench, "operator") or "none"
    people = [name for name, role in roles.items() if role == "person"]
    if operator == "instrument" and len(people) != 1:
        found = f"{len(people)} instruments in the role person"
        yield Flaw(("bench", "operator"), found, 'exactly one with operator = "instrument"')
    possible = set(roles.values()) | set(roles)
    by_person = operator in ("terminal", "instrument")
    if by_person:
        possible.add("supply")  # a person switches a hand-operated unit off
    can_be_off = {name for name in possible if roles.get(name, name) in SWITCHED_OFF}
    if by_person or "line_source" in roles.values():
        can_be_off.add("line")  # at the line switch, by a person; or by the line source
    if "load" in roles.values():
        can_be_off.add("discharge")  # what the output still holds, through the load
    order = bench.get("make_safe")
    names = [name for name in order if isinstance(name, str)] if isinstance(order, list) else []
    wrong = [index for index, name in enumerate(names) if name not in can_be_off]
    for index in wrong:
        expected = one_of(can_be_off, names[index], "what can be switched off on this bench")
        yield Flaw(("bench", "make_safe", index), quoted(names[index]), expected)
    named = {roles.get(name, name) for name in names}
    for role in SWITCHED_OFF:
        if names and not wrong and role in possible and role not in named:
            found = f"an order without the {role}"
            yield Flaw(("bench", "make_safe"), found, f'"{role}" in it: it can hold energy')


def _table(data: Table, key: str) -> Table:
    table = data.get(key)
    return table if isinstance(table, Mapping) else {}


def _entries(data: Table, key: str) -> Mapping[str, Table]:
    return {n: item for n, item in _table(data, key).items() if isinstance(item, Mapping)}


def _text(data: Table, key: str) -> str | None:
    """Return what a key says; None where that is no text, which the model reports."""
    found = data.get(key)
    return found if isinstance(found, str) else None
