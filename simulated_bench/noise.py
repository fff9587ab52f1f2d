"""Random functions of bench time: flicker, random walk, slow wander and jumps.

Each is a function of seed and time only. Values stand on a fixed grid, are made block by block and
interpolated linearly, so the order and number of questions never changes an answer.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from simulated_bench.draw import Draws

BLOCK: Final = 4096
"""Grid points per block: about a millisecond's work."""

KEPT_BLOCKS: Final = 4
"""Of each function: bench time goes on, older ones are seldom asked for, and weeks stay small."""

OCTAVES: Final = 17
"""Flicker reaches from the grid period to 2^17 of it, 36 hours at 1 s."""

Array = NDArray[np.float64]


@dataclass(slots=True)
class GridSeries:
    """A function of time given on a grid, with blocks made when first asked for.

    Parameters
    ----------
    period_s
        Grid period in seconds.
    make
        Returns the values at grid points ``block·BLOCK … (block+1)·BLOCK`` (both ends included).
    """

    period_s: float
    make: Callable[[int], Array]
    _blocks: dict[int, list[float]] = field(default_factory=dict)

    def at(self, time_s: float) -> float:
        """Return the value at a time, linear between grid points; before zero, that at zero."""
        position = time_s / self.period_s
        position = max(position, 0.0)
        index = int(position)
        block, offset = index // BLOCK, index % BLOCK  # quicker than divmod: no call
        values = self._blocks.get(block)
        if values is None:
            if len(self._blocks) >= KEPT_BLOCKS:
                del self._blocks[next(iter(self._blocks))]  # made again, alike, if asked for
            values = self._blocks[block] = self.make(block).tolist()
        low = values[offset]
        return low + (values[offset + 1] - low) * (position - index)


def flicker(draws: Draws, purpose: str, deviation: float, period_s: float = 1.0) -> GridSeries:
    """Return 1/f noise as a sum of octaves of equal variance.

    Equal variance in each octave is the defining property of a 1/f spectrum; each octave is white
    noise on a grid twice as wide as the one before, interpolated (R. F. Voss and J. Clarke,
    J. Acoust. Soc. Am. 63 (1978) 258 describe the summing). `deviation` is the standard deviation
    of one octave.
    """
    offsets = draws.generator(f"{purpose}.offsets").uniform(0.0, 1.0, OCTAVES)

    def make(block: int) -> Array:
        first = block * BLOCK
        grid = np.arange(first, first + BLOCK + 1, dtype=np.float64)
        total = np.zeros(BLOCK + 1)
        for octave in range(OCTAVES):
            position = grid / 2.0**octave + offsets[octave]
            total += np.interp(position, *_white(draws, f"{purpose}.{octave}", position))
        # Interpolation leaves two thirds of the variance.
        return np.asarray(deviation * np.sqrt(1.5) * total, dtype=np.float64)

    return GridSeries(period_s, make)


def wander(draws: Draws, purpose: str, deviation: float, period_s: float) -> GridSeries:
    """Return smooth wander: independent normal values a period apart, interpolated."""

    def make(block: int) -> Array:
        position = np.arange(block * BLOCK, (block + 1) * BLOCK + 1, dtype=np.float64)
        return deviation * np.interp(position, *_white(draws, purpose, position))

    return GridSeries(period_s, make)


def random_walk(
    draws: Draws, purpose: str, deviation_per_root_hour: float, period_s: float = 1.0
) -> GridSeries:
    """Return a random walk from zero; its deviation grows with the square root of time."""
    step = deviation_per_root_hour * float(np.sqrt(period_s / 3600.0))
    ends = [0.0]  # value at the start of each block that has been made

    def one(block: int) -> Array:
        steps = draws.generator(purpose, block).normal(0.0, step, BLOCK)
        values = np.empty(BLOCK + 1)
        values[0] = ends[block]
        np.cumsum(steps, out=values[1:])
        values[1:] += ends[block]
        if len(ends) == block + 1:
            ends.append(float(values[-1]))
        return values

    def make(block: int) -> Array:
        while len(ends) <= block:
            one(len(ends) - 1)
        return one(block)

    return GridSeries(period_s, make)


def jumps(
    draws: Draws, purpose: str, rate_hz: float, deviation: float, period_s: float = 1.0
) -> GridSeries:
    """Return a level that jumps at random moments (a Poisson process) by normal amounts.

    Each jump goes to a new level about zero, as a dirty wiper finds another place to touch.
    """
    last = [0.0]

    def one(block: int) -> Array:
        generator = draws.generator(purpose, block)
        jumped = generator.uniform(size=BLOCK) < rate_hz * period_s
        levels = generator.normal(0.0, deviation, BLOCK)
        values = np.empty(BLOCK + 1)
        values[0] = last[block]
        for index in range(BLOCK):
            values[index + 1] = levels[index] if jumped[index] else values[index]
        if len(last) == block + 1:
            last.append(float(values[-1]))
        return values

    def make(block: int) -> Array:
        while len(last) <= block:
            one(len(last) - 1)
        return one(block)

    return GridSeries(period_s, make)


def _white(draws: Draws, purpose: str, position: Array) -> tuple[Array, Array]:
    """Return grid positions and normal values that cover the asked positions."""
    first, last = int(position[0]) // BLOCK, int(position[-1] + 1) // BLOCK
    values = np.concatenate(
        [draws.generator(purpose, block).standard_normal(BLOCK) for block in range(first, last + 1)]
    )
    where = np.arange(first * BLOCK, (last + 1) * BLOCK, dtype=np.float64)
    return where, values
