"""Readings that a person types in: asked for, understood, doubted where they are not plausible.

A meter without an interface is read by a person, who types what it shows. The time of a reading
lies between the question and the typed line; the text is kept as it was typed. What the state of
the bench makes implausible, and what has more digits than the meter shows, counts only when it is
typed a second time: then the meter does show it, and the guards look at it.
"""

import re
from collections.abc import Callable, Mapping
from math import inf, isnan, nan

from drivers.roles import Clock, Operator, Reading
from sequencer.documents.channels import BenchChannel
from sequencer.documents.dimensions import CURRENT, VOLTAGE
from sequencer.documents.parsing import QuantityError, one_spelling, parse_quantity
from sequencer.documents.rendering import format_quantity
from sequencer.errors import TrialStopped
from sequencer.run import operator_words as words
from sequencer.run.operating_point import OperatingPoint
from sequencer.run.typed_digits import counts_of, too_fine

TYPING_LIMIT_S = 600.0
"""A person gets ten minutes for one value."""

LOOK_PERIOD_S = 0.5
"""How often is looked whether something was typed; the guards look as well."""

NEAR_SHARE = 0.05
NEAR = {"voltage": 0.5, "current": 0.15}
"""Plausible is what was set, within 5 % and this much (V, A); anything else is asked again."""

OVERLOAD = frozenset({"OL", "0L", "OVERLOAD", "OVER"})
"""What hand-held meters show beyond their range, with a sign and a point anywhere (common practice,
no source)."""

DIRECT = re.compile(r"(?<=[VA])\s*[dD][cC]$")
PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
COMMA = re.compile(r"^([+-]?\d+),(\d+)(?=\D*$)")

THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)")
"""A comma before three digits is a decimal one or parts thousands; a point never does."""

DIMENSIONS = {"voltage": (VOLTAGE, "V"), "current": (CURRENT, "A")}


def understood(text: str, channel: BenchChannel) -> float:
    """Return a typed text in the channel's unit; NaN for a meter that shows an overload.

    A number alone is in the meter's own unit, V or A; a decimal comma is a point, "VDC" is V.

    Raises
    ------
    QuantityError
        With what was found and what was expected.
    """
    said = one_spelling(text)
    if said.lstrip("+-").replace(".", "").strip().upper() in OVERLOAD:
        return nan
    dimension, unit = DIMENSIONS[channel.function]
    said = DIRECT.sub("", COMMA.sub(r"\1.\2", said))
    if PLAIN.fullmatch(said):
        said += f" {unit}"
    return parse_quantity(said, dimension) * channel.scale


def in_thousands(text: str, value: float) -> float | None:
    """Return what a value is where its comma parts thousands; None where it can't."""
    parted = THOUSANDS.match(one_spelling(text))
    return value * 1000.0 if parted else None


def expected(name: str, channel: BenchChannel, point: OperatingPoint) -> tuple[float, float]:
    """Return between which values (V, A) a channel is plausible, by what was asked of the bench."""
    most = inf if channel.range is None else channel.range * channel.scale
    quantity = name.partition(".")[0]
    wanted = point.asked_current() if quantity == "current" else point.asked_voltage()
    if wanted is None:
        return -most, most
    away = NEAR_SHARE * abs(wanted) + NEAR[quantity]
    return max(wanted - away, -most), min(wanted + away, most)


class Typist:
    """Asks a person for the values of channels whose meters have no interface."""

    def __init__(
        self,
        channels: Mapping[str, BenchChannel],
        operator: Operator | None,
        clock: Clock,
        point: OperatingPoint,
    ) -> None:
        self._channels = channels
        self._operator = operator
        self._clock = clock
        self._point = point

    @property
    def channels(self) -> frozenset[str]:
        """The channels that are typed."""
        return frozenset(self._channels)

    def read(self, name: str, watch: Callable[[float], object]) -> Reading:
        """Ask for a channel's value until a plausible one is typed, or the same one again.

        `watch` looks at the guards at a bench time meanwhile.

        Raises
        ------
        TrialStopped
            When nobody is there, nothing is typed in time, or the person gives up.
        """
        channel = self._channels[name]
        low, high = expected(name, channel, self._point)
        text, doubted = words.read_meter(channel.instrument, name, channel.leads), ""
        start = self._clock.now()
        while True:
            typed = self._line(text, channel.instrument, start, watch)
            try:
                value = understood(typed, channel)
            except QuantityError as error:
                text = f"That was not understood: {error}. {words.again(channel.instrument)}"
                continue
            if (meant := in_thousands(typed, value)) and low <= meant <= high:
                text = (
                    f"{typed!r} may be {format_quantity(value, channel.unit, 7)} or "
                    f"{format_quantity(meant, channel.unit, 7)}: write a point for decimals, and "
                    f"nothing between thousands. {words.again(channel.instrument)}"
                )
                continue
            unit = channel.unit
            fine = too_fine(typed, channel)
            if (low <= value <= high and not fine) or typed == doubted:
                shown = "an overload" if isnan(value) else format_quantity(value, unit, 7)
                self._person.reply(f"{name}: {shown}")
                return Reading(
                    name, value, typed, start, self._clock.now(), "overload" if isnan(value) else ""
                )
            doubted = typed
            between = f"{format_quantity(low, unit, 4)} and {format_quantity(high, unit, 4)}"
            why = f"has more digits than the {counts_of(channel)} counts of the meter"
            text = (
                f"{typed!r} {why if fine else f'is not between {between}, as expected now'}. "
                f"{words.again(channel.instrument)} The same value again will be taken."
            )

    @property
    def _person(self) -> Operator:
        if self._operator is None:
            raise TrialStopped("A value has to be typed in, but nobody is there to do it.")
        return self._operator

    def _line(self, text: str, meter: str, start: float, watch: Callable[[float], object]) -> str:
        person = self._person
        person.ask_value(text, meter)
        at = self._clock.now()
        while at - start < TYPING_LIMIT_S:
            said = person.state()
            if said.state == "confused":
                raise TrialStopped(f"The value of {meter} was not typed: {said.remark}")
            if said.state == "done":
                return said.typed.strip()
            at = self._clock.sleep_until(at + LOOK_PERIOD_S)
            watch(at)
        raise TrialStopped(f"No value of {meter} was typed within {TYPING_LIMIT_S:.0f} s.")
