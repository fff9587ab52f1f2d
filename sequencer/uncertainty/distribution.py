"""The distribution that a whole budget makes: its coverage factor, and shares beyond a limit.

A coverage factor of 2 belongs to a normal distribution. Where one rectangular part dominates (a
meter's gain in a data sheet), the sum ends sooner: 95.45 % lie within 1.65 standard uncertainties
of a single rectangle. JCGM 101:2008 takes the distributions themselves; here that is done without
random numbers, so that the same record always gives the same digits.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import optimize, special

from sequencer.numerics.checks import Array
from sequencer.results import Component, Figure

NORMAL, TYPE_A = "normal", "normal (type A)"
RECTANGULAR, TRIANGULAR = "rectangular", "triangular"

#: A bounded part below this share of the variance counts as normal: its shape moves the excess
#: kurtosis by less than 1.2·(0.002)², and k by less than 1e-5.
_SMALL = 0.002
#: Cells of the sum of rectangles; halving them again moves k by less than 1e-5.
_CELLS = 256
#: Steps within a cell while rectangles are summed.
_FINE = 8


@dataclass(frozen=True)
class Distribution:
    """A symmetric distribution about zero: a scaled Student t plus independent rectangles.

    Attributes
    ----------
    u
        Combined standard uncertainty as JCGM 100 has it, in which `k` counts.
    scale, dof
        Of the part that is normal: standard uncertainty and degrees of freedom, infinite for
        normal itself.
    half_widths
        Of the rectangles, the greatest first.

    Notes
    -----
    The normal parts are put together first, to one t with the degrees of freedom of Welch and
    Satterthwaite (JCGM 100, G.4): a plain convolution of several t with few degrees of freedom
    covers more than it says (four with 3 degrees of freedom 99.5 % in place of 95.45 %).
    """

    u: float
    scale: float
    dof: float
    half_widths: tuple[float, ...]

    def below(self, x: float) -> float:
        """Return the probability of a value below `x` (same unit as `u`)."""
        if not self.half_widths:
            return float(_share(np.array(x / self.scale), self.dof))
        edges, steps = self._density_steps
        if self.scale == 0:
            tail = min(max(float(steps @ np.maximum(-abs(x) - edges, 0.0)), 0.0), 1.0)
            return tail if x < 0 else 1.0 - tail
        # From the nearer tail: small probabilities keep their digits.
        far = steps @ _area(-(abs(x) + edges) / self.scale, self.dof) * self.scale
        tail = min(max(float(far), 0.0), 1.0)
        return tail if x < 0 else 1.0 - tail

    def half_interval(self, probability: float) -> float:
        """Return the half-width of the central interval that holds `probability`."""
        wanted = (1 + probability) / 2
        if not self.half_widths:
            z = special.ndtri(wanted) if math.isinf(self.dof) else special.stdtrit(self.dof, wanted)
            return float(z) * self.scale
        top = 4 * self.u
        while self.below(top) < wanted:
            top *= 2
        return float(
            optimize.brentq(lambda x: self.below(x) - wanted, 0.0, top, xtol=1e-7 * self.u)
        )

    @cached_property
    def _density_steps(self) -> tuple[Array, Array]:
        """Return where the density of the rectangles' sum changes, and by how much there."""
        first, *others = self.half_widths
        if not others:
            return np.array([-first, first]), np.array([0.5, -0.5]) / first
        reach = math.fsum(self.half_widths)
        x = np.linspace(-reach, reach, _CELLS * _FINE + 1)
        below = np.clip((x + first) / (2 * first), 0.0, 1.0)
        spacing = float(x[1] - x[0])
        for half in others:
            # The mean of `below` over ± half: differences of its integral, continued outside.
            area = np.concatenate([[0.0], np.cumsum((below[1:] + below[:-1]) / 2)]) * spacing
            above = np.interp(x + half, x, area) + np.maximum(x + half - reach, 0.0)
            below = (above - np.interp(x - half, x, area)) / (2 * half)
        edges = x[::_FINE]
        density = np.diff(below[::_FINE]) / np.diff(edges)
        density /= density @ np.diff(edges)
        return edges, np.diff(density, prepend=0.0, append=0.0)


def distribution_of(components: Iterable[Component]) -> Distribution:
    """Return the distribution of the sum of independent components, in the figure's unit.

    A triangle is the sum of two rectangles of half its half-width. Whatever is neither rectangular
    nor triangular counts as normal with its degrees of freedom.
    """
    parts = [part for part in components if part.contribution > 0]
    variance = math.fsum(part.contribution**2 for part in parts)
    halves: list[float] = []
    smooth, fourth = 0.0, 0.0
    for part in parts:
        square = part.contribution**2
        if part.distribution == RECTANGULAR and square > _SMALL * variance:
            halves.append(part.contribution * math.sqrt(3))
        elif part.distribution == TRIANGULAR and square > _SMALL * variance:
            halves += [part.contribution * math.sqrt(6) / 2] * 2
        else:
            smooth += square
            fourth += square**2 / part.dof
    return Distribution(
        u=math.sqrt(variance),
        scale=math.sqrt(smooth),
        dof=smooth**2 / fourth if fourth > 0 else math.inf,
        half_widths=tuple(sorted(halves, reverse=True)),
    )


def distribution_of_figure(figure: Figure) -> Distribution:
    """Return how the true value lies about a figure's value.

    Of its budget; of Student's t where the figure came without one, or with another u.
    """
    found = distribution_of(figure.budget)
    if math.isclose(found.u, figure.u, rel_tol=1e-9):
        return found
    return Distribution(figure.u, figure.u, figure.dof, ())


def _share(z: Array, dof: float) -> Array:
    return np.asarray(special.ndtr(z) if math.isinf(dof) else special.stdtr(dof, z), float)


def _area(z: Array, dof: float) -> Array:
    """Return the integral of the distribution function up to `z`, less a constant for dof 1.

    With dF/dz = f: ∫F = z·F + f for the normal, z·F + f·(ν + z²)/(ν − 1) for t, by parts.
    """
    share = _share(z, dof)
    if math.isinf(dof):
        density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
        return np.asarray(z * share + density)
    if abs(dof - 1) < _CAUCHY:
        return np.asarray(z * share - np.log1p(z**2) / (2 * math.pi))
    log_norm = special.gammaln((dof + 1) / 2) - special.gammaln(dof / 2)
    density = np.exp(log_norm - (dof + 1) / 2 * np.log1p(z**2 / dof)) / math.sqrt(dof * math.pi)
    return np.asarray(z * share + density * (dof + z**2) / (dof - 1))


#: So near to one degree of freedom the closed form divides by nothing.
_CAUCHY = 1e-6
