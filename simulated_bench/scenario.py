"""Finds, reads and checks scenarios.

A scenario is a TOML document. ``based_on = "healthy"`` takes another one and overrides only what
differs: tables are merged key by key, anything else is replaced.
"""

import tomllib
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from simulated_bench.errors import ScenarioError
from simulated_bench.scenario_models import Scenario

__all__ = ["Scenario", "load", "shipped"]

FOLDER: Final = Path(__file__).parent / "scenarios"
DEEPEST: Final = 8
"""Scenarios based on one another: more than this is a circle."""


def shipped() -> tuple[str, ...]:
    """Return the names of the scenarios that come with the bench."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


def load(name_or_path: str | Path) -> Scenario:
    """Return a checked scenario, by its shipped name or the path of its file.

    Raises
    ------
    ScenarioError
        With every mistake: a missing file, broken TOML, unknown keys, wrong units.
    """
    path = _find(name_or_path, beside=None)
    document = _merged(path, depth=0)
    try:
        return Scenario.model_validate(document)
    except ValidationError as error:
        raise ScenarioError(
            tuple(
                f"{path}: {'.'.join(str(part) for part in mistake['loc'])}: "
                f"{_said(mistake['type'], mistake['msg'])}"
                for mistake in error.errors()
            )
        ) from None


def _said(kind: str, message: str) -> str:
    if kind == "extra_forbidden":
        return "found an unknown key, expected none of this name; look for a misspelling"
    if kind == "missing":
        return 'found nothing, expected this key; give it or say based_on = "healthy"'
    return message.removeprefix("Value error, ")


def _find(name_or_path: str | Path, beside: Path | None) -> Path:
    text = str(name_or_path)
    if text in shipped():
        return FOLDER / f"{text}.toml"
    path = Path(name_or_path)
    if beside is not None and not path.is_absolute():
        path = beside.parent / path
    if path.suffix == ".toml" and path.is_file():
        return path
    raise ScenarioError(
        (
            f"{text}: found neither a shipped scenario nor a .toml file of this name, expected a "
            f"path or one of {', '.join(shipped())}",
        )
    )


def _merged(path: Path, depth: int) -> dict[str, Any]:
    if depth > DEEPEST:
        raise ScenarioError((f"{path}: based_on: found a circle, expected a chain that ends",))
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise ScenarioError(
            (f"{path}: found no readable TOML, expected a scenario: {error}",)
        ) from None
    base = document.get("based_on")
    if not isinstance(base, str):
        return document
    return _over(_merged(_find(base, beside=path), depth + 1), document)


def _over(base: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for key, value in top.items():
        old = merged.get(key)
        merged[key] = (
            _over(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
        )
    return merged
