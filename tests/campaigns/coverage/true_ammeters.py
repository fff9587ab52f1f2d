"""What is true of a desk's ammeters: what they show without noise, against the true current."""

from collections.abc import Mapping
from itertools import combinations

import numpy as np

from sequencer.requests import Read
from sequencer.trials.ammeters import compared
from sequencer.trials.trial import Evidence
from tests.campaigns.coverage.desk import Desk


def true_ammeters(desk: Desk, evidence: Evidence) -> Mapping[str, float]:
    """Return agreement, gains and offsets of the ammeters that load steps have read.

    Of agreement the value is true that they would show without noise and resolution; a gain and an
    offset are those of the straight line through what an ammeter shows too much.
    """
    data = compared(evidence)
    if data is None:
        return {}
    visits = [
        desk.noiseless[step.seq]
        for step in desk.steps
        if isinstance(step.request, Read) and step.request.tag.get("part") == "round"
    ]
    shown = {channel: np.array([one[channel] for one in visits]) for channel in data.visits}
    true = np.array([one["true"] for one in visits])
    found = {}
    for channel in tuple(shown)[1:]:
        off = shown[channel] > 0.0  # at its stop a panel's meter has neither gain nor offset
        slope, offset = np.polyfit(true[off], (shown[channel] - true)[off], 1)
        name = channel.replace(".", "_")
        found |= {f"gain_of_{name}": float(slope), f"offset_of_{name}": float(offset)}
    levels = range(len(data.counts))
    means = {c: np.array([np.mean(shown[c][data.level_of == n]) for n in levels]) for c in shown}
    apart = [
        np.max(np.abs(means[a] - means[b]) / np.hypot(data.expanded(a), data.expanded(b)))
        for a, b in combinations(shown, 2)
    ]
    return found | {"current_agreement": float(max(apart))}
