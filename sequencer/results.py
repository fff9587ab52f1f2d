"""What figures and verdicts look like once computed; outputs read these, compute nothing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Outcome = Literal["pass", "conditional pass", "conditional fail", "fail", "not covered"]
Rule = Literal["simple", "guarded"]


@dataclass(frozen=True, slots=True)
class Component:
    """One line of an uncertainty budget.

    `u` is the component's standard uncertainty in its own unit, `sensitivity` the factor to the
    figure's unit, `contribution` their product's magnitude, `dof` its degrees of freedom. `unit`
    is the component's own SI unit ("1" for a relative one), empty where it is not known.
    """

    name: str
    distribution: str
    u: float
    sensitivity: float
    contribution: float
    dof: float
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of a promised condition was measured, in one quantity; None: it was not measured."""

    quantity: str
    required: float
    reached: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A computed result in SI units with its uncertainty.

    `reached` holds the condition that was really measured, by the keys of a limit's condition:
    voltage, current_from, current_to, duration, load_voltage (V, A, s). `points` hold the same
    figure at single settings ("voltage") or over a part of what was measured ("current_to",
    "duration"), as `points_by` says, for promises that are stated for that.
    """

    trial: str
    name: str
    value: float
    unit: str
    u: float
    dof: float
    k: float
    expanded: float
    reached: Mapping[str, float] = field(default_factory=dict)
    coverage: Coverage | None = None
    budget: tuple[Component, ...] = ()
    notes: tuple[str, ...] = ()
    points: "tuple[Figure, ...]" = ()
    points_by: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """A figure against a limit under a decision rule.

    `lower` and `upper` are the limit's bounds in SI units (None where it has none). `probability`
    is the probability of conformance, `ratio` the limit over U, `false_accept` and `false_reject`
    the risks of a wrong `pass` or `fail` for a unit that stands exactly at the limit. All are None
    when not covered. `apart` tells this limit from others on the same figure ("to 1.5 A"),
    `coverage` says how much of its condition was measured, and `judged` is the figure that decided:
    the one named, or one of its points.
    """

    figure: str
    trial: str
    lower: float | None
    upper: float | None
    unit: str
    rule: Rule
    outcome: Outcome
    probability: float | None
    ratio: float | None
    why: str
    remarks: tuple[str, ...] = ()
    false_accept: float | None = None
    false_reject: float | None = None
    apart: str = ""
    coverage: Coverage | None = None
    judged: Figure | None = None


@dataclass(frozen=True, slots=True)
class Tripped:
    """The guard that ended a run; `text` says it in words, `made_safe` what became of the bench.

    `value` and `bound` are in `unit`, None where there are none (a frozen meter, say). `source`
    names the documents that state the bound, `at` is bench time in seconds.
    """

    channel: str
    reason: str
    value: float | None
    bound: float | None
    unit: str
    source: str
    at: float
    text: str
    made_safe: str = ""


@dataclass(frozen=True, slots=True)
class Event:
    """Something worth remembering that happened during a run."""

    at: float
    wall: str
    kind: str
    severity: Literal["note", "warning", "alarm"]
    text: str
    detail: Mapping[str, str | int | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Line:
    """One series of a chart; `lower` and `upper` draw a band where given.

    Series of the same `quantity` share a colour and differ in style. Without it, what stands before
    the first ", " of the label is taken: "temperature.ambient, warm-up" and "temperature.ambient,
    soak" are one quantity.
    """

    label: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    style: Literal["points", "line", "steps"] = "points"
    y_error: tuple[float, ...] | None = None
    lower: tuple[float, ...] | None = None
    upper: tuple[float, ...] | None = None
    quantity: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A straight guide in a chart: a limit, a computed figure or the end of warm-up.

    `expanded` is a figure's U: a band of that half-width is drawn about the guide.
    """

    label: str
    axis: Literal["x", "y"]
    at: float
    kind: Literal["limit", "figure", "guide"]
    expanded: float = 0.0


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure whose limits belong into a chart, and on which axis.

    `mirrored`: the figure is a magnitude but the chart shows signed values, so that its upper
    limit stands on both sides of zero.
    """

    figure: str
    axis: Literal["x", "y"]
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture as data: the trial says what to draw, the outputs say how.

    `shows` names figures of the trial whose limits, once judged, are drawn in. `logarithmic` is for
    both axes; all values are above zero then.
    """

    trial: str
    title: str
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...] = ()
    caption: str = ""
    shows: tuple[Shown, ...] = ()
    logarithmic: bool = False
