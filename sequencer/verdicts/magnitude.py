"""Which figures are magnitudes: counted from zero, whatever the sign of what they are of."""

from sequencer.documents.figure_names import FIGURES
from sequencer.results import Figure


def is_magnitude(figure: Figure) -> bool:
    """Tell whether a figure can't truly be below zero."""
    known = FIGURES.get(figure.name)
    return known is not None and not known.signed


def no_pass_possible(figure: Figure, lower: float | None, upper: float | None) -> bool:
    """Tell whether U leaves no room for a guarded pass, of a magnitude from zero on."""
    if upper is None:
        return False
    if lower is not None:
        return upper - lower < 2 * figure.expanded
    return is_magnitude(figure) and upper < figure.expanded
