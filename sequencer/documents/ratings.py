"""A trial's settings against the ratings of the unit and the load, and against the guards.

Settings are looked at by the keys that trials share: voltage, current, fractions (of the current)
and lowest_voltage. A trial that names a lowest voltage but no current takes the unit to its limit.
"""

from collections.abc import Iterator, Sequence

from pydantic import BaseModel

from sequencer.documents.bench import LoadRatings
from sequencer.documents.flaws import Flaw
from sequencer.documents.limit_resistors import (
    advice_for,
    for_sweep,
    greatest_current,
    sweep_of,
)
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.documents.resistors import advice, share


def above_ratings(documents: Documents, settings: BaseModel) -> Iterator[Flaw]:
    """Yield each setting that the unit, the load or a guard does not allow."""
    rated, load = documents.unit.ratings, documents.bench.load
    voltage, current = _number(settings, "voltage"), _number(settings, "current")
    yield from _above("voltage", voltage, "V", rated.voltage, "the unit's rated")
    yield from _above("voltage", voltage, "V", load.voltage, "the load's rated")
    yield from _above("current", current, "A", rated.current, "the unit's rated")
    helped = getattr(settings, "by_resistors", False)
    if helped and voltage is not None and current is not None:
        fractions = [f for f in getattr(settings, "fractions", (1.0,)) if 0.0 < f <= 1.0]
        yield from _shared(load, voltage, sorted({current, *(f * current for f in fractions)}))
    else:
        yield from _above("current", current, "A", load.current, "the load's rated")
        if voltage is not None and current is not None:
            yield from _power("current", voltage * current, load.power)
    for index, fraction in enumerate(getattr(settings, "fractions", ())):
        if not 0 <= fraction <= 1:
            found = f'"{format_quantity(fraction, "%")}"'
            yield Flaw(("fractions", index), found, "0 % to 100 % of the trial's current")
    yield from _lowest(documents, settings, voltage)
    yield from _guarded(documents, "voltage.sense", "voltage", voltage, "V")
    for channel in documents.bench.channels:
        if channel.startswith("current."):
            yield from _guarded(documents, channel, "current", current, "A")


def _shared(load: LoadRatings, voltage: float, currents: Sequence[float]) -> Iterator[Flaw]:
    """Look at what the load can take alone, or with the resistors beside it."""
    most, current = load.reach(voltage), max(currents)
    apart = [a for a in currents if share(most, load.resistors, voltage, a) is None]
    if apart:
        found = ", ".join(f"{format_quantity(a, 'A', 3)}" for a in apart)
        expected = (
            f"at most {format_quantity(most, 'A', 3)} at {format_quantity(voltage, 'V')}, which is "
            "all that the load's rated current and power allow"
        )
        needed = advice(most, voltage, current)
        if needed is not None:
            expected += f"; or [[load.resistors]] in the bench document: {needed}"
        yield Flaw(("current",), found, expected)
        return
    used = {number for a in currents for number in load.share(voltage, a).resistors}
    for number in sorted(used):
        yield from _too_hot(load, number, voltage)


def _too_hot(load: LoadRatings, number: int, voltage: float) -> Iterator[Flaw]:
    one = load.resistors[number - 1]
    power = voltage**2 / (one.resistance * (1.0 - one.tolerance))
    if power > one.power:
        found = f"{format_quantity(power, 'W', 3)} in resistor {number} of [[load.resistors]]"
        expected = f"at most the {format_quantity(one.power, 'W', 3)} that it can take"
        yield Flaw(("voltage",), found, f"{expected}; better half of that")


def _lowest(documents: Documents, settings: BaseModel, voltage: float | None) -> Iterator[Flaw]:
    """Look at a sweep down to a voltage, and at how far the unit's limit may take it."""
    lowest = _number(settings, "lowest_voltage")
    if lowest is None or voltage is None:
        return
    load = documents.bench.load
    found = f'"{format_quantity(lowest, "V")}"'
    if lowest < load.lowest_voltage:
        least = format_quantity(load.lowest_voltage, "V")
        yield Flaw(("lowest_voltage",), found, f"at least {least}, where the load still works")
    if lowest >= voltage:
        yield Flaw(("lowest_voltage",), found, "less than the trial's voltage")
    if _number(settings, "current") is None and lowest < voltage:
        yield from _to_the_limit(documents, voltage, lowest)


def _to_the_limit(documents: Documents, voltage: float, lowest: float) -> Iterator[Flaw]:
    """Look at what the load can take all the way down, alone or with the resistors beside it."""
    load, sweep = documents.bench.load, sweep_of(documents.unit, voltage, lowest)
    chosen = for_sweep(load.resistors, load.current, load.power, sweep)
    if chosen is None:
        needed = advice_for(load.current, load.power, sweep)
        helped = f"; or [[load.resistors]] in the bench document: {needed}" if needed else ""
        helped += "; or the trial left out, its limits not covered then"
        power = voltage * sweep.most
        if sweep.most_anywhere > load.current:
            found, most = _up_to(sweep.most_anywhere, "A"), format_quantity(load.current, "A")
        else:
            found, most = _up_to(power, "W"), format_quantity(load.power, "W")
        yield Flaw(("trial",), found, f"at most the load's rated {most}{helped}")
        return
    for number in chosen:
        yield from _too_hot(load, number, voltage)


def most_current(documents: Documents, *, anywhere: bool) -> float:
    """Return the greatest current that the unit may give, in A: rated, or allowed by a limit."""
    return greatest_current(documents.unit, anywhere=anywhere)


def _above(key: str, value: float | None, unit: str, most: float, whose: str) -> Iterator[Flaw]:
    if value is not None and value > most:
        found = f'"{format_quantity(value, unit)}"' if key != "trial" else _up_to(value, unit)
        yield Flaw((key,), found, f"at most {whose} {format_quantity(most, unit)}")


def _power(key: str, power: float, most: float) -> Iterator[Flaw]:
    if power > most:
        found = f"{format_quantity(power, 'W')} at that voltage"
        if key == "trial":
            found = _up_to(power, "W")
        yield Flaw((key,), found, f"at most the load's rated {format_quantity(most, 'W')}")


def _up_to(value: float, unit: str) -> str:
    return f"a trial that takes the unit to its limit, up to {format_quantity(value, unit)}"


def _guarded(
    documents: Documents, channel: str, key: str, value: float | None, unit: str
) -> Iterator[Flaw]:
    """Find a setting that would trip a guard at once."""
    for guards in (documents.bench.guards, documents.profile.guards):
        most = guards[channel].at_most if channel in guards else None
        if value is not None and most is not None and value >= most:
            expected = f"less than the guard of {channel} allows ({format_quantity(most, unit)})"
            yield Flaw((key,), f'"{format_quantity(value, unit)}"', expected)


def _number(settings: BaseModel, key: str) -> float | None:
    value = getattr(settings, key, None)
    return value if isinstance(value, float) else None
