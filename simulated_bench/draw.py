"""Every random number of a bench, from its seed alone.

Each purpose has a generator of its own, whose seed sequence is spawned from the bench's seed and
a hash of the purpose's name. A draw that is added later therefore shifts no other one.
"""

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator, SeedSequence

from simulated_bench.quantities import Uncertain

_KEY_WORDS = 4
"""128 bits of the name's hash: two names never meet."""


@dataclass(frozen=True, slots=True)
class Draws:
    """The draws of one bench."""

    seed: int

    def generator(self, purpose: str, block: int = 0) -> Generator:
        """Return the generator of a purpose; blocks of one purpose are independent."""
        digest = hashlib.sha256(purpose.encode()).digest()
        words = np.frombuffer(digest[: 4 * _KEY_WORDS], dtype="<u4")
        return np.random.default_rng(
            SeedSequence(self.seed, spawn_key=(*(int(word) for word in words), block))
        )

    def value(self, purpose: str, quantity: Uncertain) -> float:
        """Draw this bench's value of a quantity from its rectangular spread."""
        if quantity.half_width == 0.0:
            return quantity.nominal
        return quantity.nominal + quantity.half_width * float(
            self.generator(purpose).uniform(-1.0, 1.0)
        )
