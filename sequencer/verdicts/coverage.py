"""Whether the condition that a limit is stated for was really measured."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from sequencer.documents.limits import SETTING_TOLERANCE
from sequencer.documents.quantities import format_quantity
from sequencer.results import Coverage

#: The greatest current has to reach this share of the stated one: what the load's own accuracy
#: can leave short at a full-scale setting.
CURRENT_SHARE = 0.995
#: The least current may be above the stated one by this share of the greatest.
LOW_CURRENT_SHARE = 0.005
#: The time may fall short by this share: a row of readings ends one cadence before the full time.
DURATION_SHARE = 0.9995
#: The voltage at the load may stay above the stated one by this share.
LOAD_VOLTAGE_SHARE = 1.05
#: More than this share beyond a stated time or current is another range than the stated one.
BEYOND_SHARE = 0.01
#: Farther below a stated voltage at the load than this share of the set voltage is another place
#: on the limit's line.
FARTHER_SHARE = 0.05
#: The line voltage has to reach its stated ends within this share of the rated line voltage.
LINE_TOLERANCE = 0.01


class Condition(Protocol):
    """The condition of a limit: SI numbers, None where unstated."""

    @property
    def voltage(self) -> float | None: ...  # noqa: D102
    @property
    def current_from(self) -> float | None: ...  # noqa: D102
    @property
    def current_to(self) -> float | None: ...  # noqa: D102
    @property
    def duration(self) -> float | None: ...  # noqa: D102
    @property
    def load_voltage(self) -> float | None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Part:
    """One stated quantity: whether it was reached, and whether it was exceeded notably."""

    quantity: str
    words: str
    required: float
    reached: float | None
    unit: str
    covered: bool
    beyond: bool


@dataclass(frozen=True, slots=True)
class CoverageCheck:
    """Whether a condition was covered, the quantity that decided, and the reason in words."""

    covered: bool
    coverage: Coverage | None
    why: str
    parts: tuple[Part, ...] = ()

    @property
    def short(self) -> tuple[str, ...]:
        """The stated quantities that were not reached, or not measured."""
        return tuple(part.quantity for part in self.parts if not part.covered)

    @property
    def beyond(self) -> tuple[str, ...]:
        """The stated quantities of which notably more was measured."""
        return tuple(part.quantity for part in self.parts if part.beyond)


def check_coverage(reached: Mapping[str, float], condition: Condition | None) -> CoverageCheck:
    """Compare what a figure's measurement reached with what its limit is stated for.

    Parameters
    ----------
    reached
        Keys voltage, current_from, current_to, duration, load_voltage (V, A, s), line_from and
        line_to (departures from the rated line voltage as ratios); a missing key means that the
        quantity was not measured or not known.
    condition
        The limit's condition; None or None attributes are unstated and ask nothing.

    Returns
    -------
    CoverageCheck
        Not covered as soon as one stated quantity was not reached within its tolerance. The
        coverage is of that quantity, otherwise of one that was exceeded, otherwise of the first
        stated one in the order duration, current, load voltage, line, setting.
    """
    parts = () if condition is None else _parts(reached, condition)
    if not parts:
        return CoverageCheck(True, None, "The limit states no condition.")
    missing = [part for part in parts if not part.covered]
    deciding = next((one for one in (*missing, *parts) if not one.covered or one.beyond), parts[0])
    coverage = Coverage(
        quantity=deciding.quantity,
        required=deciding.required,
        reached=deciding.reached,
        unit=deciding.unit,
    )
    if not missing:
        return CoverageCheck(True, coverage, "The stated condition was measured.", parts)
    return CoverageCheck(False, coverage, " ".join(_shortfall(part) for part in missing), parts)


def _parts(reached: Mapping[str, float], condition: Condition) -> tuple[Part, ...]:
    """Return one part for each stated quantity, in the order in which they are shown."""
    top_current = getattr(condition, "current_to", None) or 0.0
    rules: dict[str, tuple[str, str, Callable[[float, float], bool]]] = {
        "duration": ("time", "s", lambda need, got: got >= need * DURATION_SHARE),
        "current_to": ("greatest current", "A", lambda need, got: got >= need * CURRENT_SHARE),
        "current_from": (
            "least current",
            "A",
            lambda need, got: got <= need + LOW_CURRENT_SHARE * max(top_current, need),
        ),
        "load_voltage": (
            "least voltage at the load",
            "V",
            lambda need, got: got <= need * LOAD_VOLTAGE_SHARE,
        ),
        "line_from": (
            "lowest line voltage (from the rated one)",
            "1",
            lambda need, got: got <= need + LINE_TOLERANCE,
        ),
        "line_to": (
            "highest line voltage (from the rated one)",
            "1",
            lambda need, got: got >= need - LINE_TOLERANCE,
        ),
        "voltage": (
            "set voltage",
            "V",
            lambda need, got: abs(got - need) <= SETTING_TOLERANCE * abs(need),
        ),
    }
    more: dict[str, Callable[[float, float], bool]] = {
        "duration": lambda need, got: got > need * (1.0 + BEYOND_SHARE),
        "current_to": lambda need, got: got > need * (1.0 + BEYOND_SHARE),
        "current_from": lambda need, got: got < need - BEYOND_SHARE * max(top_current, need),
        "load_voltage": lambda need, got: (
            got < need - FARTHER_SHARE * max(reached.get("voltage", need), need)
        ),
    }
    parts = []
    for key, (words, unit, test) in rules.items():
        required = getattr(condition, key, None)
        if required is None:
            continue
        got = reached.get(key)
        covered = got is not None and test(required, got)  # NaN compares false
        beyond = got is not None and key in more and more[key](required, got)
        parts.append(Part(key, words, required, got, unit, covered, beyond))
    return tuple(parts)


def _shortfall(part: Part) -> str:
    required = format_quantity(part.required, part.unit, 7)
    if part.reached is None:
        return f"The limit is stated for a {part.words} of {required}, which is not measured."
    reached = format_quantity(part.reached, part.unit, 4)
    return f"The limit is stated for a {part.words} of {required}; reached: {reached}."
