"""What can be wrong with what the simulated bench is given."""


class BenchError(Exception):
    """Root of the simulated bench's errors."""


class QuantityError(BenchError, ValueError):
    """A text is not a quantity of the expected kind."""


class ScenarioError(BenchError):
    """A scenario can't be used; all mistakes are listed at once.

    Parameters
    ----------
    mistakes
        One line each: ``file: key path: found …, expected …``.
    """

    def __init__(self, mistakes: tuple[str, ...]) -> None:
        super().__init__("\n".join(mistakes))
        self.mistakes = mistakes
