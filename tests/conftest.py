"""What all tests share: how hypothesis searches, where locks are kept, and which files begin."""

import os
from tempfile import mkdtemp

import pytest
from hypothesis import settings

# Runs of tests that don't end well leave their names at the benches they used; that must not be
# where `make-safe` looks for a person's own.
os.environ.setdefault("STEADYRAIL_STATE", mkdtemp(prefix="steadyrail-state-"))

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
