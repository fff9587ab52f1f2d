"""What all tests share: how hypothesis searches, and which files begin."""

import os

import pytest
from hypothesis import settings

# No deadline: how long an example takes says more about the machine than about the code.
settings.register_profile("here", deadline=None)
# Continuous integration looks at the same examples each time; people find new ones.
settings.register_profile("integration", deadline=None, derandomize=True)
settings.load_profile("integration" if os.environ.get("CI") else "here")

LONGEST = ("test_whole_overnight", "test_whole_acceptance", "test_coverage_campaign")
"""Begun first, so that no worker is left with a night when all others are done."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest before all others."""
    items.sort(key=lambda item: item.path.stem not in LONGEST)
