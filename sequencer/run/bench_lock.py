"""One run per bench: a lock for each instrument's address, with the owner's name in it.

The system drops a lock with the last process that holds it, however that ends; the guardian holds
it together with the run. A name that stands in a file without a lock is one of a dead process.
"""

import fcntl
import json
import os
import platform
import pwd
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from select import poll
from typing import Self

from sequencer.errors import ComputerFailed, UsageError
from sequencer.run.safe_job import SafeJob

FOLDER = Path("/var/tmp/steadyrail")  # noqa: S108  # every user's locks in one place, kept over a reboot
FOLDER_VARIABLE = "STEADYRAIL_STATE"
TRY_AGAIN_S = 0.1
MOST_BYTES = 1 << 20
"""A lock's text is a few kilobytes; a file that holds more than that is none of ours."""
GUARDIAN_S = 20.0
"""So long a new run waits for the guardian of a dead one to make the bench safe."""


@dataclass(frozen=True, slots=True)
class Owner:
    """Who holds a bench, and what making it safe needs."""

    pid: int
    started: str
    user: str
    host: str
    since: str
    record: str
    job: str

    def __str__(self) -> str:
        """Return the words that name the owner."""
        record = f", record {self.record}" if self.record else ""
        return f"process {self.pid} of {self.user} on {self.host} since {self.since}{record}"

    @property
    def alive(self) -> bool:
        """Whether that very process still runs on this machine."""
        return self.host == platform.node() and _started(self.pid) == self.started != ""

    @property
    def safe_job(self) -> SafeJob | None:
        """What making the bench safe needs; None where another version of the program wrote it."""
        try:
            return SafeJob.from_json(self.job)
        except (ValueError, KeyError, TypeError, AttributeError):
            return None

    @classmethod
    def here(cls, job: SafeJob) -> Self:
        """Return this process as the owner."""
        uid, pid = os.getuid(), os.getpid()
        try:
            user = pwd.getpwuid(uid).pw_name
        except KeyError:
            user = str(uid)
        since = datetime.now(UTC).isoformat(timespec="seconds")
        return cls(pid, _started(pid), user, platform.node(), since, job.record, job.as_json())


class BenchLock:
    """The locks of one bench, held. `left_behind` names dead owners that were found.

    `before` is what stood in each file.
    """

    def __init__(
        self,
        handles: tuple[int, ...],
        left_behind: tuple[Owner, ...],
        before: tuple[bytes, ...] = (),
    ) -> None:
        self.handles = handles
        self.left_behind = left_behind
        self._before = before

    def is_ours(self) -> bool:
        """Return whether no other process has locked the bench since, as after an early release."""
        return all(_taken(handle) for handle in self.handles)

    def release(self, *, safe: bool) -> None:
        """Give the bench back; the name stays where the bench was not shown to be safe."""
        for handle in self.handles:
            with suppress(OSError):
                if safe:
                    os.ftruncate(handle, 0)
        self._unlock()

    def put_back(self) -> None:
        """Give the bench back with the names that were found: nothing was done to it."""
        for handle, text in zip(self.handles, self._before, strict=False):
            with suppress(OSError):
                _write(handle, text)
        self._unlock()

    def leave(self) -> None:
        """Leave the bench to the guardian, which holds the same locks."""
        for handle in self.handles:
            with suppress(OSError):
                os.close(handle)
        self.handles = ()

    def _unlock(self) -> None:
        for handle in self.handles:
            with suppress(OSError):
                fcntl.flock(handle, fcntl.LOCK_UN)
        self.leave()


def lock_bench(job: SafeJob, *, wait_s: float = GUARDIAN_S) -> BenchLock:
    """Lock every address of a bench.

    Waits only for the guardian of a run that is dead already.

    Raises
    ------
    UsageError
        When another process has one of them, with its owner's name.
    ComputerFailed
        When no lock can be written, as on a full disk.
    """
    owner = Owner.here(job)
    handles: list[int] = []
    left: dict[str, Owner] = {}
    texts: list[bytes] = []
    try:
        for address in job.addresses:
            handles.append(handle := opened(lock_file(address)))
            take(handle, address, wait_s)
            texts.append(os.pread(handle, MOST_BYTES, 0))
            before = _owner(handle)
            if before is not None:
                left[str(before)] = before
        for handle in handles:
            _write(handle, json.dumps(asdict(owner)).encode())
    except BaseException as error:
        for handle in handles:
            os.close(handle)
        if isinstance(error, OSError):
            raise ComputerFailed(
                f"The bench can't be locked: {error.strerror or error} "
                f"({error.filename or _folder()})"
                f". Name another folder for locks in {FOLDER_VARIABLE}. Nothing was energised."
            ) from error
        raise
    return BenchLock(tuple(handles), tuple(left.values()), tuple(texts))


def owners() -> tuple[Owner, ...]:
    """Return whoever is named in a lock, dead or alive, each once."""
    found = {str(owner): owner for path in _files() if (owner := owner_of(path)) is not None}
    return tuple(found.values())


def unreadable() -> tuple[Path, ...]:
    """Return the lock files in which something stands that names nobody."""
    return tuple(path for path in _files() if _size(path) and owner_of(path) is None)


def job_left_for(record: Path) -> SafeJob | None:
    """Return what makes the bench safe that a lock names with this record; None where none does.

    A lock keeps the name only as long as its bench was not shown to be safe. Of several, as by
    records of one name, the newest counts.
    """
    # Path.resolve fails at links that lead in a circle.
    here = os.path.realpath(record)
    found = [o for o in owners() if o.record and os.path.realpath(o.record) == here]
    return max(found, key=lambda owner: owner.since).safe_job if found else None


def owners_of(job: SafeJob) -> Iterator[tuple[Owner, bool]]:
    """Yield each owner that is named for a bench, and whether the lock is held."""
    seen: set[str] = set()
    for address in job.addresses:
        owner = owner_of(lock_file(address))
        if owner is not None and str(owner) not in seen:
            seen.add(str(owner))
            yield owner, is_held(address)


def left_by_the_dead(job: SafeJob | None = None) -> tuple[Owner, ...]:
    """Return the dead owners that locks name, of one bench or of all, and that nobody holds."""
    paths = _files() if job is None else [lock_file(address) for address in job.addresses]
    found = {
        str(owner): owner
        for path in paths
        if (owner := owner_of(path)) is not None and not owner.alive and not _held(path)
    }
    return tuple(found.values())


def is_held(address: str) -> bool:
    """Return whether any process holds the lock of an address."""
    return _held(lock_file(address))


def _held(path: Path) -> bool:
    try:
        handle = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


def owner_of(path: Path) -> Owner | None:
    """Return whoever a lock file names; None where nobody or nothing readable stands there."""
    try:
        # Everybody may put files there: opening a pipe would else wait for its other end.
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return None
    try:
        return _owner(handle)
    finally:
        os.close(handle)


def lock_file(address: str) -> Path:
    """Return the lock's file for an instrument's address; `TCPIP::` means `TCPIP0::`."""
    whole = re.sub(r"^(TCPIP|USB|GPIB)(?=::)", r"\g<1>0", address, flags=re.IGNORECASE)
    return _folder() / (re.sub(r"[^A-Za-z0-9.]+", "-", whole).lower() + ".lock")


def take(handle: int, address: str, wait_s: float) -> None:
    """Lock an opened lock file, waiting only for the guardian of a run that is dead.

    Raises
    ------
    UsageError
        When another process has it.
    """
    left_s = wait_s
    while not _taken(handle):
        owner = _owner(handle)
        dead = owner is not None and not owner.alive
        if not dead or left_s <= 0:
            who = owner or "a process that left no name (a probe, an exercise?)"
            hint = " (it is dead; its guardian is still making the bench safe)" if dead else ""
            raise UsageError(
                f"The bench is in use: {address} is held by {who}{hint}. Nothing was "
                "energised. Wait for its end, or stop it: steadyrail make-safe."
            )
        poll().poll(TRY_AGAIN_S * 1000)
        left_s -= TRY_AGAIN_S


def _write(handle: int, text: bytes) -> None:
    """Put a text in the place of another; not truncated first, as the disk may be full."""
    os.pwrite(handle, text, 0)
    os.ftruncate(handle, len(text))


def _taken(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _owner(handle: int) -> Owner | None:
    try:
        found = Owner(**json.loads(os.pread(handle, MOST_BYTES, 0)))
    except (OSError, ValueError, TypeError, RecursionError):
        return None
    words = (found.started, found.user, found.host, found.since, found.record, found.job)
    whole = all(isinstance(word, str) and "\0" not in word for word in words)
    return found if whole and isinstance(found.pid, int) else None


def opened(path: Path) -> int:
    """Return the descriptor of a lock file, which is made where there is none.

    Raises
    ------
    OSError
        When that can't be.
    """
    folder = path.parent
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        with suppress(OSError):
            folder.chmod(0o1777)
    try:
        return os.open(path, os.O_RDWR | os.O_NOFOLLOW)
    except FileNotFoundError:
        handle = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_CREAT, 0o666)
        with suppress(OSError):
            os.fchmod(handle, 0o666)
        return handle


def _files() -> list[Path]:
    return sorted(_folder().glob("*.lock"))


def _size(path: Path) -> int:
    try:
        return path.lstat().st_size
    except OSError:
        return 0


def _folder() -> Path:
    given = os.environ.get(FOLDER_VARIABLE)
    return Path(given) if given else FOLDER


def _started(pid: int) -> str:
    """Return when a process was started, in ticks since boot; empty where there is none."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""
    fields = text.rpartition(")")[2].split()
    return (
        "" if fields[0] in "ZX" else fields[19]
    )  # proc(5): state is the 3rd field, start the 22nd
