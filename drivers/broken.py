"""What can be found wrong with a wire; `drivers.faults` says what it means to the user."""


class Stale(Exception):
    """Bytes that nobody asked for wait on the link."""


class Closed(Exception):
    """The other end closed the connection."""


class Late(Exception):
    """Time is up; `partial` is what had come until then."""

    def __init__(self, partial: bytes) -> None:
        super().__init__("time is up")
        self.partial = partial
