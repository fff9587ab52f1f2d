"""The greatest departure among noisy values, beside the other parts of a budget."""

from sequencer.numerics.maximum import Maximum, greatest_departure, greatest_span

__all__ = ["Maximum", "greatest_departure", "greatest_span"]
