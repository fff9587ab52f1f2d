"""From a name in a document or on the command line to a file."""

from importlib.resources import files
from pathlib import Path
from typing import Literal

from sequencer.documents.flaws import one_of
from sequencer.documents.parsing import FoundExpectedError, quoted

Kind = Literal["unit", "bench", "profile"]
KINDS: tuple[Kind, ...] = ("unit", "bench", "profile")

LONGEST_PATH = 500
"""A longer path is no path but a slip of the clipboard; it is cut in the message."""

_FOLDERS = {"unit": "units", "bench": "benches", "profile": "."}


def shipped(kind: Kind) -> dict[str, Path]:
    """Return the documents of a kind that come with the program, by name."""
    folder = Path(str(files("profiles"))) / _FOLDERS[kind]
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def find(kind: Kind, name: str, beside: Path | None = None) -> Path:
    """Return the file that a name stands for.

    Parameters
    ----------
    kind
        What kind of document is looked for.
    name
        A shipped name ("w-17"), or a path: anything with a slash or ending in ".toml".
    beside
        The folder that a relative path starts from; the working directory by default.

    Raises
    ------
    NotFoundError
        With what was found and what was expected.
    """
    known = shipped(kind)
    if name in known:
        return known[name]
    path = (beside or Path()) / Path(name).expanduser()
    if not is_path(name):
        hint = f" ({path}.toml exists: write its path)" if _is_file(Path(f"{path}.toml")) else ""
        raise NotFoundError(quoted(name) + hint, _expected(kind, name))
    if not _is_file(path):
        what = "no such file" if not _exists(path) else "no regular file"
        where = str(path)[:LONGEST_PATH]
        raise NotFoundError(f"{quoted(name)} ({what}: {where})", _expected(kind, name))
    return path


def _expected(kind: Kind, name: str) -> str:
    return one_of(shipped(kind), name, f"the path of a {kind} file, or a shipped {kind}")


def is_path(name: str) -> bool:
    """Tell a path by what it holds; anything else is a shipped name."""
    return "/" in name or "\\" in name or name.endswith(".toml")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name too long, or with a zero byte
        return False


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


class NotFoundError(FoundExpectedError):
    """There is no document of that name."""
