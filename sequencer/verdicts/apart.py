"""What tells several limits on one figure apart, in a few words."""

from collections import Counter
from collections.abc import Callable, Sequence

from sequencer.documents.quantities import format_quantity
from sequencer.verdicts.limit import Limit


def told_apart(limits: Sequence[Limit]) -> tuple[str, ...]:
    """Return for each limit words such as "to 1.5 A", "" where its figure has no other limit.

    The words name what differs between the conditions of a figure's limits; where that leaves two
    alike, their bounds as well.
    """
    return tuple(_words(limit, [one for one in limits if _alike(one, limit)]) for limit in limits)


def named(name: str, apart: str) -> str:
    """Return a figure's name, and which of its limits is meant where it has several."""
    return f"{name} {apart}" if apart else name


def spoken(key: str, value: float) -> str:
    """Return one quantity of a condition in words: "to 1.5 A"."""
    return _SPOKEN[key](value)


def _alike(one: Limit, other: Limit) -> bool:
    return one.figure == other.figure


def _words(limit: Limit, group: list[Limit]) -> str:
    if len(group) == 1:
        return ""
    differing = [key for key in _SPOKEN if len({_stated(one, key) for one in group}) > 1]
    texts = Counter(_condition(one, differing) for one in group)
    own = _condition(limit, differing)
    return own if own and texts[own] == 1 else " ".join(filter(None, (own, _bounds(limit))))


def _condition(limit: Limit, keys: list[str]) -> str:
    stated = ((key, _stated(limit, key)) for key in keys)
    return ", ".join(_SPOKEN[key](value) for key, value in stated if value is not None)


def _stated(limit: Limit, key: str) -> float | None:
    """Return what a condition states; a current from nothing on needs no words."""
    value: float | None = getattr(limit.condition, key, None)
    return None if key == "current_from" and value == 0.0 else value


def _bounds(limit: Limit) -> str:
    pair = (("≥", limit.lower), ("≤", limit.upper))
    said = ((sign, _bound(limit.unit, at)) for sign, at in pair)
    return " ".join(f"{sign} {words}" for sign, words in said if words)


def _bound(unit: str, at: Callable[[float], float | None]) -> str:
    """Return a bound as it is stated, such as "0.02 % + 2 mV"; "" where there is none."""
    fixed, with_setting = at(0.0), at(1.0)
    if fixed is None or with_setting is None:
        return ""
    part = with_setting - fixed
    shown = [format_quantity(part, "%", 7)] if part else []
    shown += [format_quantity(fixed, unit, 7)] if fixed or not part else []
    return " + ".join(shown)


def _line(value: float) -> str:
    return f"{100.0 * value:+.3g} %".replace("-", "−")


_SPOKEN: dict[str, Callable[[float], str]] = {
    "voltage": lambda value: f"at {format_quantity(value, 'V', 7)}",
    "current_from": lambda value: f"from {format_quantity(value, 'A', 7)}",
    "current_to": lambda value: f"to {format_quantity(value, 'A', 7)}",
    "duration": lambda value: f"over {format_quantity(value, 's', 7)}",
    "load_voltage": lambda value: f"down to {format_quantity(value, 'V', 7)} at the load",
    "line_from": lambda value: f"line from {_line(value)}",
    "line_to": lambda value: f"line to {_line(value)}",
}
