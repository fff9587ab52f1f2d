"""The campaign's picture: coverage of every figure with its binomial interval."""

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl

from tests.campaigns.coverage.strata import STRATA
from tests.campaigns.coverage.table import ALL, WANTED, Line

mpl.use("agg")

MARKERS = ("o", "s", "^", "D", "v")
COLOURS = ("#0072b2", "#e69f00", "#d55e00", "#009e73", "#cc79a7")
"""Told apart by colour-blind readers too (Okabe and Ito); markers differ as well."""


def draw(found: Sequence[Line], path: Path) -> None:
    """Draw coverage by figure and stratum into a file."""
    from matplotlib import pyplot as plt  # noqa: PLC0415  # after the choice of canvas

    figures = list(dict.fromkeys(one.figure for one in found))
    chart, axes = plt.subplots(figsize=(8.0, 0.42 * len(figures) + 1.6), layout="constrained")
    axes.axvspan(100 * WANTED[0], 100 * WANTED[1], color="0.9", zorder=0, label="wanted")
    for one in found:
        at = figures.index(one.figure)
        if one.stratum == ALL:
            axes.plot([100 * one.low, 100 * one.high], [at, at], color="black", linewidth=2.0)
            axes.plot([100 * one.coverage], [at], "|", color="black", markersize=12)
            continue
        n = STRATA.index(one.stratum)
        axes.plot(
            [100 * one.coverage],
            [at + 0.11 * (n - 2)],
            MARKERS[n],
            color=COLOURS[n],
            markersize=4,
            label=one.stratum if at == 0 else None,
        )
    axes.set_yticks(range(len(figures)), [name.replace("_", " ") for name in figures])
    axes.set_ylim(len(figures) - 0.4, -0.6)
    axes.set_xlabel("intervals that hold the true value, % (bar: all strata, 95 % confidence)")
    chart.legend(loc="outside lower center", ncols=3, frameon=False)
    chart.savefig(path, dpi=110)
    plt.close(chart)
