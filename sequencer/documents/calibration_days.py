"""Days of calibration that are still to come: they say nothing about readings of today.

Looked at when documents are checked, not when they are read, so that old records can be judged.
"""

from datetime import date, datetime

from sequencer.documents.bench import BenchDocument
from sequencer.documents.flaws import Flaw, as_mistakes
from sequencer.documents.source import Source, parse_source
from sequencer.errors import Mistake


def today() -> date:
    """Return the day where the bench stands."""
    return datetime.now().astimezone().date()


def calibration_mistakes(bench: BenchDocument, source: Source) -> tuple[Mistake, ...]:
    """Return each channel that was calibrated after today."""
    now = today()
    flaws = [
        Flaw(
            ("channels", name, "accuracy", "calibrated"),
            f"{channel.accuracy.calibrated}",
            f"a day up to today, {now}: a calibration after the run says nothing about it. State "
            "the one before",
        )
        for name, channel in bench.channels.items()
        if channel.accuracy.calibrated is not None and channel.accuracy.calibrated > now
    ]
    return as_mistakes(flaws, source.path, parse_source(source))
