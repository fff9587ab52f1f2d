"""Which component of a budget is true: python -m tests.campaigns.coverage.parts --trial heat.

Each bench is measured again without one part of one meter's error at a time, everything else drawn
alike. By what the figure changes, that is what the part did to it; over the contributions that the
budget states for it this should come out about 1. Above: understated. Below: overstated.
"""

import argparse
import sys
from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from sequencer.results import Figure
from sequencer.trials.registry import trials
from tests.campaigns.coverage.measure import Measured, measured
from tests.campaigns.coverage.strata import plan

STATED_AS = {
    "gain": ("gain (",),
    "offset": ("offset (",),
    "noise": ("noise", "scatter"),
    "resolution": ("resolution",),
    "temperature_gain": ("gain at temperature", "gain following"),
    "temperature_offset": ("offset at temperature", "offset following"),
    "stability_gain": ("gain stability",),
    "stability_offset": ("offset stability",),
    "thermal_emf": ("thermal EMF",),
    "shunt_tolerance": ("shunt value",),
    "shunt_temperature": ("shunt at temperature", "shunt following"),
}
"""By part of an accuracy statement, how names of components begin."""

Key = tuple[str, str, str]


def main() -> int:
    """Print per figure the errors over u, and per part what it did over what is stated."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.coverage.parts")
    parser.add_argument("--trial", required=True, choices=sorted(trials()))
    parser.add_argument("--benches", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="seed of the first bench")
    options = parser.parse_args()
    errors: dict[str, list[tuple[float, float]]] = defaultdict(list)
    did: dict[Key, list[tuple[float, float, float]]] = defaultdict(list)
    for seed in range(options.first, options.first + options.benches):
        whole = measured(plan(seed), options.trial)
        for name, figure in whole.figures.items():
            if name in whole.true:
                error = figure.value - whole.true[name]
                errors[name].append((error / figure.u, error / figure.expanded))
        for channel, part in _parts(whole, seed):
            less = measured(plan(seed), options.trial, without=(channel, part))
            for name in whole.figures.keys() & less.figures.keys():
                figure = whole.figures[name]
                moved = figure.value - less.figures[name].value
                stated = _stated(figure, channel, part)
                if moved or stated:
                    did[name, channel, part].append((moved, stated, figure.u))
    for name, found in errors.items():
        by_u, by_expanded = np.array(found).T
        rms = float(np.sqrt(np.mean(by_u**2)))
        print(
            f"{name}: n {by_u.size}, rms error/u {rms:.2f}, mean error/U {by_expanded.mean():+.3f}"
        )
        for (_, channel, part), rows in sorted(did.items()):
            if _ == name:
                moved, stated, u = (np.array(column) for column in zip(*rows, strict=True))
                share = float(np.sqrt(np.mean((moved / u) ** 2)))
                told = float(np.sqrt(np.mean((stated / u) ** 2)))
                print(f"    {channel:22} {part:20} did {share:5.2f} u, stated {told:5.2f} u")
    return 0


def _parts(whole: Measured, seed: int) -> Iterator[tuple[str, str]]:
    statements = plan(seed).statements
    for channel in sorted(whole.channels & statements.keys()):
        for part, value in statements[channel].items():
            if value and part in STATED_AS:
                yield channel, part


def _stated(figure: Figure, channel: str, part: str) -> float:
    """Return what the budget states for a part, in the figure's unit.

    A component that names no channel stands for whichever it is.
    """
    return float(
        np.sqrt(
            sum(
                one.contribution**2
                for one in figure.budget
                if one.name.startswith(STATED_AS[part])
                and (channel in one.name or "(" not in one.name)
            )
        )
    )


if __name__ == "__main__":
    sys.exit(main())
