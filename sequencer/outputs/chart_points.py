"""Fewer points with the same outline: what a chart draws of a long series."""

import numpy as np
from numpy.typing import NDArray

from sequencer.requests import Array


def envelope(x: Array, y: Array, most: int) -> NDArray[np.intp]:
    """Return which points to draw so that no extreme is lost.

    The series is cut into equal runs of points, in its own order (so that a sweep up and down
    keeps both legs); of each run the lowest and the highest finite point stay, besides the very
    first and last. A run without any finite point keeps one, so that a gap stays a gap.

    Parameters
    ----------
    x, y : Array, shape (n,)
    most : int
        The greatest number of points to return, at least 4.

    Returns
    -------
    NDArray of int, shape (m,), m <= most
        Indices in rising order.
    """
    count = x.size
    if count <= most:
        return np.arange(count, dtype=np.intp)
    finite = np.isfinite(x) & np.isfinite(y)
    edges = np.linspace(0, count, (most - 2) // 2 + 1).astype(int)
    starts, ends = edges[:-1], edges[1:]
    lowest = np.where(finite, y, np.inf)
    highest = np.where(finite, y, -np.inf)
    keep = {0, count - 1}
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        keep.add(start + int(np.argmin(lowest[start:end])))
        keep.add(start + int(np.argmax(highest[start:end])))
    return np.array(sorted(keep), dtype=np.intp)
