"""A small picture of one verdict: where the value and its uncertainty lie beside the limit."""

import math
from dataclasses import dataclass

from sequencer.results import Figure, Verdict

PAD = 0.22
"""Room beyond the outermost thing shown, as a share of the span."""


@dataclass(frozen=True, slots=True)
class Rail:
    """Places along a rail, each from 0 to 100: the allowed stretch, the value, its U."""

    allowed_from: float
    allowed_to: float
    value: float
    low: float
    high: float
    bounds: tuple[float, ...]


def rail(figure: Figure | None, verdict: Verdict) -> Rail | None:
    """Return the places for a verdict's picture; None where there is nothing to place.

    A limit that is only an upper bound of a value that can't be negative starts at zero.
    """
    bounds = [bound for bound in (verdict.lower, verdict.upper) if bound is not None]
    if figure is None or not bounds:
        return None
    low, high = figure.value - figure.expanded, figure.value + figure.expanded
    shown = [*bounds, low, high]
    if verdict.lower is None and low >= 0.0:
        shown.append(0.0)
    if not all(map(math.isfinite, [*shown, figure.value])):
        return None
    start, end = min(shown), max(shown)
    pad = PAD * (end - start) or 1.0
    start, end = (0.0 if start == 0.0 else start - pad), end + pad

    if not math.isfinite(end - start):
        return None

    def place(value: float) -> float:
        return round(100.0 * ((value - start) / (end - start)), 2)

    return Rail(
        allowed_from=0.0 if verdict.lower is None else place(verdict.lower),
        allowed_to=100.0 if verdict.upper is None else place(verdict.upper),
        value=place(figure.value),
        low=place(low),
        high=place(high),
        bounds=tuple(place(bound) for bound in bounds),
    )
