"""Fixtures of the drivers' tests."""

from collections.abc import Iterator

import pytest
from table import Table, set_up


@pytest.fixture
def table() -> Iterator[Table]:
    made = set_up()
    yield made
    for server in made.servers.values():
        server.close()
