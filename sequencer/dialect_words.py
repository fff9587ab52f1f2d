"""What a record keeps of an instrument's dialect, in a few words."""

import json
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path

from sequencer.documents.bench import Instrument

KIND = "dialect of "
"""How the kinds of a record's documents begin that are dialects; the instrument follows."""

SHOWN = 8
"""Digits of the digest: enough to see that two records differ."""


def dialect_words(name: str, entry: Instrument, documents: Mapping[str, tuple[str, str]]) -> str:
    """Return a dialect's name, the link's own ways, and the beginning of its tables' digest."""
    known = documents.get(KIND + name)
    own = [f"{key} = {json.dumps(value)}" for key, value in entry.link.given().items()]
    digest = [] if known is None else [sha256(known[1].encode()).hexdigest()[:SHOWN]]
    return ", ".join([Path(entry.dialect).name, *own, *digest])
