"""What is below nothing has a true minus in every sentence that people read."""

import re

import pytest
from test_trials_parts import figures

from sequencer.documents.load import load_profile
from sequencer.errors import TrialStopped
from sequencer.run.start import _no_stray, _right_way_round

HYPHEN_BEFORE_NUMBER = re.compile(r"(^|[\s(±])-\d")


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
def test_remarks_on_figures_write_a_true_minus(profile: str) -> None:
    notes = [note for figure in figures(profile) for note in figure.notes]
    assert notes
    assert not [note for note in notes if HYPHEN_BEFORE_NUMBER.search(note)]


def test_what_stops_a_start_writes_a_true_minus() -> None:
    with pytest.raises(TrialStopped, match=r"current\.shunt reads −1\.5 A although"):
        _no_stray({"current.shunt": -1.5}, load_profile("acceptance"))
    with pytest.raises(TrialStopped, match=r"voltage\.sense reads −29\.98 V while"):
        _right_way_round({"voltage.sense": -29.98})
