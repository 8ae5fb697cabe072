"""What one operating system has and another has not, and what is done where it is missing.

Every other module asks here, so that the program can be started and used where none of it is there. What is
lost then is said beside each, and in SECURITY.md.
"""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import stat
import sys
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from pathlib import Path

    from filelock import BaseFileLock

NO_FOLLOW = getattr(os, "O_NOFOLLOW", 0)
"""Open no link. Missing: it is looked before opening, and a link made in that moment is followed."""
NO_WAIT = getattr(os, "O_NONBLOCK", 0)
"""Do not wait for the other end of a pipe. Missing: it is looked before opening, as for a link."""
AS_BYTES = getattr(os, "O_BINARY", 0)
"""Windows alone would turn line ends round in a file that is opened without this."""
ON_WINDOWS = os.name == "nt"


def open_file(path: Path, flags: int, mode: int = 0o666, *, through_links: bool = True) -> int:
    """A descriptor of a file, whose bytes come as they are; it never waits for the other end of a pipe.

    Raises OSError, also for a link where none is to be followed. What is no regular file may be opened.
    """
    flags |= AS_BYTES | NO_WAIT
    if not through_links:
        flags |= NO_FOLLOW
        if not NO_FOLLOW and os.path.islink(path):
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(path))
    if not NO_WAIT and os.path.exists(path) and not (os.path.isfile(path) or os.path.isdir(path)):
        raise OSError(0, "not a regular file")
    return os.open(path, flags, mode)


# Locks ----------------------------------------------------------------------------------------


class Lock:
    """The lock of an open file: held by one process of all that open it, and given back when that one dies.

    Where the system locks no files, a second file beside it stands for the lock while it is held. What is
    lost: a process on another machine, or one that locks the file itself, does not see it; and one that was
    killed leaves it there, which the next one on the same machine takes away.
    """

    def __init__(self, descriptor: int, path: Path) -> None:
        self.descriptor = descriptor
        self.path = path
        self.beside: BaseFileLock | None = None

    def take(self) -> bool:
        """Take the lock, without waiting; False where another holds it. Raises OSError."""
        try:
            # A library would do the same here, and take a twentieth of a second to load.
            import fcntl
        except ImportError:
            return self._take_by_library()
        try:
            fcntl.flock(self.descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _take_by_library(self) -> bool:
        import warnings

        with warnings.catch_warnings():
            # It warns when it is loaded that it has no more than a file beside: see above.
            warnings.simplefilter("ignore")
            import filelock
        if ON_WINDOWS:
            return filelock.lock_descriptor(self.descriptor, blocking=False)
        if self.beside is None:
            self.beside = filelock.SoftFileLock(f"{self.path}.held")
        try:
            self.beside.acquire(blocking=False)
        except filelock.Timeout:
            return False
        return True

    def give_back(self) -> None:
        """Give the lock back; the file itself stays open. Raises OSError."""
        if self.beside is not None:
            self.beside.release()
        elif ON_WINDOWS:
            import filelock

            filelock.unlock_descriptor(self.descriptor)
        # Elsewhere it goes when the file is closed, even should that be told as failed.


# Files and folders ----------------------------------------------------------------------------

REPLACE_WAIT_S = 2.0
"""So long Windows is asked again to replace a file that somebody is reading."""


def replace(source: Path, target: Path) -> None:
    """Give a file the name of another, which goes, at once. Raises OSError.

    Windows refuses it while anybody has the other one open: then it is asked again for a while.
    """
    end = time.monotonic() + REPLACE_WAIT_S if ON_WINDOWS else 0.0
    while True:
        try:
            os.replace(source, target)
            return
        except PermissionError:
            if not ON_WINDOWS or time.monotonic() > end:
                raise
        time.sleep(0.01)


def link_new(source: Path, target: Path) -> None:
    """A second name for a file. Raises FileExistsError where that is taken, OSError where it cannot be."""
    if not hasattr(os, "link"):
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS), str(source))
    os.link(source, target)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last through a power cut. Raises OSError.

    Missing on Windows, where no folder can be opened: a new name may be gone after a power cut.
    """
    if not hasattr(os, "O_DIRECTORY"):
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        # Linux has closed it even where a signal broke the call off.
        with contextlib.suppress(InterruptedError):
            os.close(descriptor)


def copy_rights(like: Path, path: Path, descriptor: int) -> None:
    """Owner first, for a change of owner clears bits of the mode; then mode and extended attributes.

    Missing on Windows: a new file there has the rights that its folder gives. Raises OSError.
    """
    wanted, now = like.stat(), os.fstat(descriptor)
    if hasattr(os, "fchown") and (wanted.st_uid, wanted.st_gid) != (now.st_uid, now.st_gid):
        os.fchown(descriptor, wanted.st_uid, wanted.st_gid)
    if hasattr(os, "fchmod"):
        os.fchmod(descriptor, stat.S_IMODE(wanted.st_mode))
    else:
        os.chmod(path, stat.S_IMODE(wanted.st_mode))
    if not hasattr(os, "listxattr"):
        return
    try:
        names = os.listxattr(like)
    except OSError:
        return
    for name in names:
        # Labels of the security system are its own business, and are set by it.
        if not name.startswith("security."):
            os.setxattr(descriptor, name, os.getxattr(like, name))


_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"}
_DEVICES |= {f"{port}{digit}" for port in ("com", "lpt") for digit in "123456789\u00b9\u00b2\u00b3"}
_REFUSED = frozenset('<>:"|?*\\') | set(map(chr, range(32)))


def not_everywhere(name: str) -> str:
    """Why a file or folder of this name cannot be on every system, or "".

    After "Naming Files, Paths, and Namespaces" of the documentation of Windows, from memory.

    >>> not_everywhere("bench.yaml"), not_everywhere("Con.yaml")
    ('', 'Windows keeps the name Con for a device')
    """
    first = name.partition(".")[0].partition(":")[0].rstrip(" ")
    if first.casefold() in _DEVICES:
        return f"Windows keeps the name {first} for a device"
    if found := next((c for c in name if c in _REFUSED), ""):
        return f"Windows has no {found!r} in names"
    if name != name.rstrip(". ") and name not in (".", ".."):
        return "Windows takes dots and blanks off the end of a name"
    return ""


# Processes ------------------------------------------------------------------------------------


def is_alive(pid: int) -> bool:
    """Whether a process of this machine has this number; this one itself counts as done.

    On Windows to ask is to end it, so that every process counts as alive.
    """
    if pid == os.getpid():
        return False
    if ON_WINDOWS:
        return True
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def machine() -> str:
    """The name of this machine."""
    return os.uname().nodename if hasattr(os, "uname") else os.environ.get("COMPUTERNAME", "")


def processes(most: int) -> int:
    """How many processes can work at once, at most so many; 1 where this one cannot be split.

    Missing on Windows, and on macOS: there a large folder is taken up by one process.
    """
    if not all(hasattr(os, name) for name in ("sched_getaffinity", "fork")):
        return 1
    return min(len(os.sched_getaffinity(0)), most) if hasattr(signal, "pthread_sigmask") else 1


@contextlib.contextmanager
def split(count: int, work: Callable[[int, Connection], None]) -> Iterator[list[Connection]]:
    """So many processes split from this one, and where what each sends is received, for as long as the block.

    Each runs `work` with its number and where it sends; nothing there hears Ctrl-C, for whoever leaves the
    block ends it. Only where :func:`processes` says that more than one can work.
    """
    from multiprocessing import get_context

    context = get_context("fork")
    ends = [context.Pipe(duplex=False) for _ in range(count)]
    split_off = [context.Process(target=_alone, args=(work, n, ends), daemon=True) for n in range(count)]
    # A Ctrl-C while a process splits would have Python itself complain: each takes it when it can.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        for process in split_off:
            process.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    try:
        for _, theirs in ends:
            theirs.close()
        yield [mine for mine, _ in ends]
    finally:
        for process in split_off:
            process.kill()
        for process in split_off:
            process.join()
        for mine, _ in ends:
            mine.close()


def _alone(
    work: Callable[[int, Connection], None], number: int, ends: Sequence[tuple[Connection, Connection]]
) -> None:
    """The whole life of a process that was split off, which holds no end but its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for other, (mine, theirs) in enumerate(ends):
        mine.close()
        if other != number:
            theirs.close()
    work(number, ends[number][1])


def bound(memory_mib: int, seconds: int) -> None:
    """Bound the memory and the time of this process, and let it leave no image of its memory.

    Missing on Windows, and that of memory on macOS: who started it ends it when its time is up, and nothing
    bounds its memory.
    """
    try:
        import resource
    except ImportError:
        return
    for name, most in (("RLIMIT_AS", memory_mib << 20), ("RLIMIT_CPU", seconds), ("RLIMIT_CORE", 0)):
        # Some systems do not know the name, some know it and not the bound.
        with contextlib.suppress(AttributeError, ValueError, OSError):
            what = getattr(resource, name)
            # Whoever started this may have set a lower bound, which stays.
            hard = resource.getrlimit(what)[1]
            most = most if hard == resource.RLIM_INFINITY else min(most, hard)
            resource.setrlimit(what, (most, most))


def open_nothing_more() -> None:
    """From now on this process opens no file and no socket: the system gives it no descriptor for one.

    Missing on Windows: there Python itself refuses it, which does not hold what is no Python: of pyoxigraph
    nothing but the judging before it keeps it from opening a file.
    """
    try:
        import resource
    except ImportError:
        sys.addaudithook(_refuse_to_open)
        return
    resource.setrlimit(resource.RLIMIT_NOFILE, (3, 3))


def _refuse_to_open(event: str, arguments: object) -> None:
    if event == "open" or event.startswith(("socket.", "subprocess.", "os.posix_spawn", "os.system")):
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))


def is_closed_pipe(error: OSError) -> bool:
    """Whether nobody reads our output any more, which Windows calls an invalid argument."""
    closed = isinstance(error, BrokenPipeError)
    return closed or (ON_WINDOWS and error.errno == errno.EINVAL and error.filename is None)
