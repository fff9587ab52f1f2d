"""Combine budget components: law of propagation, effective degrees of freedom, coverage factor."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from scipy import special

from sequencer.errors import FigureError
from sequencer.results import Component
from sequencer.uncertainty.distribution import (
    NORMAL,
    RECTANGULAR,
    TRIANGULAR,
    TYPE_A,
    distribution_of,
)

#: Level of confidence of every stated U: k is 2 for a normal distribution (JCGM 100 G.6.6).
COVERAGE_PROBABILITY = 0.9545


class Estimate(NamedTuple):
    """A value in SI units with its budget and effective degrees of freedom."""

    value: float
    components: tuple[Component, ...]
    dof: float


@dataclass(frozen=True, slots=True)
class Combined:
    """Combined u, its degrees of freedom, the coverage factor k and U = k·u."""

    u: float
    dof: float
    k: float
    expanded: float


def type_a(name: str, u: float, dof: float, sensitivity: float = 1.0) -> Component:
    """Return a component evaluated from scatter (JCGM 100, 4.2).

    Parameters
    ----------
    u
        Standard uncertainty of the input, its own unit.
    dof
        Degrees of freedom, at least 1.
    sensitivity
        Factor from the input's unit to the figure's.

    Raises
    ------
    FigureError
        If `u` is negative or not finite, or `dof` is below 1.
    """
    return _component(name, TYPE_A, u, dof, sensitivity)


def normal(name: str, u: float, sensitivity: float = 1.0) -> Component:
    """Return a type B component that is stated as a standard deviation (JCGM 100, 4.3)."""
    return _component(name, NORMAL, u, math.inf, sensitivity)


def rectangular(name: str, half_width: float, sensitivity: float = 1.0) -> Component:
    """Return a type B component known only to lie within ± `half_width` (JCGM 100, 4.3.7)."""
    return _component(name, RECTANGULAR, half_width / math.sqrt(3), math.inf, sensitivity)


def triangular(name: str, half_width: float, sensitivity: float = 1.0) -> Component:
    """Return a type B component within ± `half_width`, likelier near its middle (4.3.9)."""
    return _component(name, TRIANGULAR, half_width / math.sqrt(6), math.inf, sensitivity)


def scaled(components: Iterable[Component], factor: float) -> list[Component]:
    """Return components carried through a further multiplication, such as ampere to volt."""
    return [
        replace(c, sensitivity=c.sensitivity * factor, contribution=c.contribution * abs(factor))
        for c in components
    ]


def effective_dof(components: Sequence[Component]) -> float:
    """Return the Welch–Satterthwaite degrees of freedom (JCGM 100, G.2b), not rounded down."""
    total = math.fsum(c.contribution**2 for c in components)
    if total == 0:
        return math.inf
    below = math.fsum((c.contribution**2 / total) ** 2 / c.dof for c in components)
    return 1 / below if below > 0 else math.inf


def coverage_factor(dof: float, probability: float = COVERAGE_PROBABILITY) -> float:
    """Return k such that ± k·u covers `probability` of a Student t with `dof` degrees of freedom.

    Raises
    ------
    FigureError
        If `dof` is below 1: one reading says nothing about its scatter.
    """
    if not dof >= 1:
        raise FigureError(
            f"degrees of freedom: found {dof:g}, expected at least 1. Take more readings."
        )
    if math.isinf(dof):
        return float(special.ndtri((1 + probability) / 2))
    return float(special.stdtrit(dof, (1 + probability) / 2))


def combine(components: Sequence[Component]) -> Combined:
    """Combine independent components to u, effective degrees of freedom, k and U = k·u.

    Correlated inputs have to stand in one component already (the differences of
    `sequencer.numerics` carry their covariance).

    Raises
    ------
    FigureError
        If there is no component or all are zero: a result without uncertainty is never stated.

    Notes
    -----
    JCGM 100:2008, 5.1.2 and annex G for u and the degrees of freedom. k is of the distribution
    that the components make together (JCGM 101:2008, 5 and 7): Student's t where all are normal,
    less than 2 where a rectangular one dominates.
    """
    u = math.sqrt(math.fsum(c.contribution**2 for c in components))
    if u == 0:
        raise FigureError(
            "uncertainty: every component is zero. No measurement is exact: state the meter's "
            "accuracy (at least its resolution) in the bench document, or take repeated readings."
        )
    expanded = distribution_of(components).half_interval(COVERAGE_PROBABILITY)
    return Combined(u=u, dof=effective_dof(components), k=expanded / u, expanded=expanded)


def _component(name: str, distribution: str, u: float, dof: float, sensitivity: float) -> Component:
    if not (math.isfinite(u) and u >= 0 and math.isfinite(sensitivity)):
        raise FigureError(
            f"{name}: standard uncertainty {u:g} with sensitivity {sensitivity:g}; expected finite "
            "numbers, the first not below zero."
        )
    if not dof >= 1:
        raise FigureError(
            f"{name}: {dof:g} degrees of freedom, expected at least 1. Take more readings."
        )
    return Component(
        name=name,
        distribution=distribution,
        u=u,
        sensitivity=sensitivity,
        contribution=abs(sensitivity) * u,
        dof=dof,
    )
