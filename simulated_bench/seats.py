"""How many clients there is room for: seats at an instrument, and one descriptor kept back."""

import os
import socket


class Seats:
    """How many clients an instrument has at a time, over all of its roads."""

    def __init__(self, most: int) -> None:
        self._free = most

    def take(self) -> bool:
        """Take a seat; return whether there was one."""
        if self._free <= 0:
            return False
        self._free -= 1
        return True

    def give_back(self) -> None:
        """Make room for another client."""
        self._free += 1


class Spare:
    """One file descriptor kept back, so that a client can be turned away when all are used up."""

    def __init__(self) -> None:
        self._kept = os.open(os.devnull, os.O_RDONLY)

    def accept(self, listening: socket.socket) -> socket.socket | None:
        """Return a client's socket; None when there is none, or it had to be turned away."""
        try:
            return listening.accept()[0]
        except BlockingIOError:
            return None
        except OSError:  # without accepting it, it would be there again in every round of the loop
            self.close()
            try:
                listening.accept()[0].close()
            except OSError:
                return None
            finally:
                self._kept = os.open(os.devnull, os.O_RDONLY)
            return None

    def close(self) -> None:
        """Give the descriptor back."""
        os.close(self._kept)
