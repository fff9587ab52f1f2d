"""Where a run writes, decided and looked at before anything is energised."""

import os
import re
from datetime import datetime
from pathlib import Path

from sequencer.errors import UsageError

RECORD_SUFFIX = ".sqlite"
REPORT_SUFFIX = ".html"


def record_path(given: Path | None, profile: str, tag: str, started: datetime) -> Path:
    """Return the record's path: the given one, or a name of profile, unit and time here."""
    if given is not None:
        return given
    words = re.sub(r"[^A-Za-z0-9]+", "-", f"{profile} {tag}").strip("-").lower()
    return Path(f"{words}-{started:%Y%m%d-%H%M%S}{RECORD_SUFFIX}")


def unused(path: Path) -> Path:
    """Return `path`, or the same name with the first number that is not taken."""
    number = 2
    found = path
    while found.exists():
        found = path.with_stem(f"{path.stem}-{number}")
        number += 1
    return found


def free(path: Path, what: str) -> Path:
    """Return `path` if a new file can be made there.

    Raises
    ------
    UsageError
        When something is there already, or the folder is not there or can't be written.
    """
    if path.exists() or path.is_symlink():
        raise UsageError(
            f"{path} is there already, and a {what} never takes the place of a file. Choose "
            "another name, or move the old file away."
        )
    folder = path.parent
    if not folder.is_dir():
        raise UsageError(f"The {what} can't be written to {path}: there is no folder {folder}.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise UsageError(
            f"The {what} can't be written to {path}: the folder {folder} can't be written by you."
        )
    return path
