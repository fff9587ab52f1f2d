"""Which software made a record."""

import platform
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version

PACKAGES = ("steadyrail", "pyvisa", "pyvisa-py", "numpy", "scipy", "pydantic")


def versions() -> Mapping[str, str]:
    """Return names and versions of Python, of this program and of what its numbers depend on."""
    found = {"Python": platform.python_version()}
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed as a package"
    return found
