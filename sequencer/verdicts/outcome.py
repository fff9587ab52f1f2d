"""The outcome of a whole run from its verdicts."""

from collections.abc import Sequence

from sequencer.errors import Exit
from sequencer.results import Verdict


def outcome(verdicts: Sequence[Verdict]) -> tuple[str, Exit]:
    """Return one sentence and the exit code.

    A `fail` decides; otherwise anything but `pass` leaves the run undecided. A run without a
    verdict has judged nothing and is undecided too.
    """
    if not verdicts:
        return "nothing judged: the unit states no limits", Exit.UNDECIDED
    count = len(verdicts)
    kinds = {kind: sum(one.outcome == kind for one in verdicts) for kind in _ORDER}
    present = ", ".join(f"{n} {kind}" for kind, n in kinds.items() if n)
    if kinds["fail"]:
        return f"fail: {kinds['fail']} of {count} limits not kept ({present})", Exit.FAILED
    if kinds["pass"] == count:
        return f"pass: all {count} limits kept", Exit.PASSED
    return f"undecided: {kinds['pass']} of {count} limits passed ({present})", Exit.UNDECIDED


_ORDER = ("fail", "conditional fail", "not covered", "conditional pass", "pass")
