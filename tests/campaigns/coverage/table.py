"""What the rows of a campaign amount to: coverage, bias and decisions, by figure and stratum."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from tests.campaigns.coverage.measure import Row

CONFIDENCE = 0.95
"""Of the binomial intervals."""

WANTED = (0.93, 0.97)
"""Between these the coverage has to lie; U is stated for 95.45 %."""

MOST_FALSE_ACCEPTS = 0.025
MOST_BIAS = 0.1
"""Of the mean U."""

BY_CHANCE = 1e-3
"""What chance makes as seldom as that is a fault."""

ALL = "all"


@dataclass(frozen=True, slots=True)
class Line:
    """One figure in one stratum, or in all.

    `low` and `high` enclose the coverage with 95 % confidence (Clopper and Pearson); `bias` is the
    mean error and `u_bias` its standard uncertainty, both over mean U; `rms` that of error/u.
    """

    figure: str
    stratum: str
    count: int
    covered: int
    low: float
    high: float
    bias: float
    u_bias: float
    rms: float
    false_accepts: int
    false_rejects: int
    accepts_at_limit: int
    simple_accepts: int
    simple_rejects: int

    @property
    def coverage(self) -> float:
        """Share of intervals that hold the truth."""
        return self.covered / self.count

    @property
    def complaints(self) -> tuple[str, ...]:
        """What is shown to be wrong: the whole binomial interval outside what is wanted."""
        found = []
        if self.high < WANTED[0]:
            found.append(f"covers too little: {self.coverage:.1%}")
        if self.low > WANTED[1]:
            found.append(f"covers too much: {self.coverage:.1%}")
        # Some 45 figures are looked at at once, in CI by ten errors each.
        surely = float(special.stdtrit(self.count - 1, 1.0 - BY_CHANCE / 2.0))
        if abs(self.bias) - surely * self.u_bias > MOST_BIAS:
            found.append(f"bias {self.bias:+.2f} U")
        if clopper_pearson(self.false_accepts, self.count)[0] > MOST_FALSE_ACCEPTS:
            found.append(f"false accepts {self.false_accepts / self.count:.1%}")
        if as_many(self.accepts_at_limit, self.count) < BY_CHANCE:
            found.append(f"accepts at the limit {self.accepts_at_limit / self.count:.1%}")
        return tuple(found)

    @property
    def meets(self) -> bool:
        """Whether the numbers themselves, not only their intervals, are where they should be."""
        return (
            WANTED[0] <= self.coverage <= WANTED[1]
            and abs(self.bias) <= MOST_BIAS
            and self.false_accepts <= MOST_FALSE_ACCEPTS * self.count
        )


def clopper_pearson(hits: int, count: int) -> tuple[float, float]:
    """Return the exact 95 % confidence interval of a share.

    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404; by the beta distribution.
    """
    tail = (1.0 - CONFIDENCE) / 2.0
    low = float(special.betaincinv(hits, count - hits + 1, tail)) if hits else 0.0
    high = float(special.betaincinv(hits + 1, count - hits, 1.0 - tail)) if hits < count else 1.0
    return low, high


def as_many(hits: int, count: int) -> float:
    """Return the probability of at least so many hits where the share is `MOST_FALSE_ACCEPTS`.

    An interval that leaves out one side of 2.27 % is passed at its limit that often, just below
    what is allowed: of the 270 lines of a table some exceed it by their own 95 % interval.
    """
    return float(special.betainc(hits, count - hits + 1, MOST_FALSE_ACCEPTS)) if hits else 1.0


def lines(rows: Sequence[Row]) -> Iterator[Line]:
    """Yield one line per figure, first over all strata, then each stratum."""
    for figure in dict.fromkeys(row.figure for row in rows):
        own = [row for row in rows if row.figure == figure]
        yield line(own, ALL)
        for stratum in sorted({row.stratum for row in own}):
            yield line([row for row in own if row.stratum == stratum], stratum)


def line(rows: Sequence[Row], stratum: str) -> Line:
    """Return the line of one figure's rows."""
    error = np.array([row.error for row in rows])
    expanded = np.array([row.expanded for row in rows])
    u = np.array([row.u for row in rows])
    covered = int(np.sum(np.abs(error) <= expanded * (1.0 + 1e-9)))
    # Every bench weighs alike: errors over their own U, not volts of the noisiest.
    relative = error / np.where(expanded > 0.0, expanded, 1.0)
    low, high = clopper_pearson(covered, error.size)
    return Line(
        figure=rows[0].figure,
        stratum=stratum,
        count=error.size,
        covered=covered,
        low=low,
        high=high,
        bias=float(np.mean(relative)),
        u_bias=float(np.std(relative, ddof=1) / math.sqrt(error.size)) if error.size > 1 else 0.0,
        rms=float(np.sqrt(np.mean((error / np.where(u > 0.0, u, 1.0)) ** 2))),
        false_accepts=_hits(row.passed_outside["guarded"] for row in rows),
        false_rejects=_hits(row.failed_inside["guarded"] for row in rows),
        accepts_at_limit=_hits(row.passed_at_limit["guarded"] for row in rows),
        simple_accepts=_hits(row.passed_outside["simple"] for row in rows),
        simple_rejects=_hits(row.failed_inside["simple"] for row in rows),
    )


def _hits(answers: Iterable[bool]) -> int:
    return sum(1 for answer in answers if answer)


HEADINGS = (
    "figure",
    "stratum",
    "n",
    "covered",
    "95 % interval",
    "bias/U",
    "rms/u",
    "false accept",
    "at limit",
    "false reject",
    "simple: accept",
    "reject",
    "",
)


def markdown(found: Iterable[Line]) -> str:
    """Return the lines as a table."""
    text = [HEADINGS, ("---",) * len(HEADINGS)]
    text += [
        (
            one.figure,
            one.stratum,
            str(one.count),
            f"{one.coverage:.1%}",
            f"{one.low:.1%} … {one.high:.1%}",
            f"{one.bias:+.3f}",
            f"{one.rms:.2f}",
            f"{one.false_accepts / one.count:.1%}",
            f"{one.accepts_at_limit / one.count:.1%}",
            f"{one.false_rejects / one.count:.1%}",
            f"{one.simple_accepts / one.count:.1%}",
            f"{one.simple_rejects / one.count:.1%}",
            "; ".join(one.complaints),
        )
        for one in found
    ]
    return "".join(f"| {' | '.join(row)} |\n" for row in text)
