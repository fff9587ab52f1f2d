"""Write an output file whole or not at all, and never over another by surprise."""

import contextlib
import os
import secrets
from pathlib import Path

from sequencer.errors import UsageError

READ_WRITE_FOR_ALL = 0o666
"""Narrowed by the user's own umask."""


def write_text(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write a text as UTF-8: to a neighbour first, then into place in one step.

    Parameters
    ----------
    path : Path
    text : str
    overwrite : bool
        Whether a file that already stands there may be replaced.

    Raises
    ------
    UsageError
        If the file exists and may not be replaced, or can't be written. Nothing is left behind.
    """
    if path.is_dir():
        raise UsageError(f"{path}: found a folder, expected a file name. Name a file inside it.")
    neighbour = path.with_name(f".{path.name[:80]}.{secrets.token_hex(6)}.part")
    try:
        try:
            _write_new(neighbour, text)
            _put_in_place(neighbour, path, overwrite=overwrite)
        finally:
            with contextlib.suppress(OSError, ValueError):
                neighbour.unlink(missing_ok=True)
    except FileExistsError as error:
        raise UsageError(
            f"{path}: a file already stands there and nothing was overwritten. Choose another "
            "name, or move the file away."
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageError(
            f"{path}: can't be written ({reason}). Expected a folder that exists, with room and "
            "the right to write; choose another place."
        ) from error


def _write_new(path: Path, text: str) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    descriptor = os.open(path, flags, READ_WRITE_FOR_ALL)
    with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _put_in_place(source: Path, target: Path, *, overwrite: bool) -> None:
    """Move a file to its name; a plain rename would silently replace, a link refuses."""
    if overwrite:
        source.replace(target)
        return
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems know no links: claim the name first, then replace our own claim.
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, READ_WRITE_FOR_ALL))
        source.replace(target)
