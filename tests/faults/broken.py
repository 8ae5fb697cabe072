"""The program with one safety taken out: what a harness must notice.

    python -m tests.faults.broken no_fsync -- add set "Arden 12" --yes

The product has no switch for any of this: its functions are replaced from here before it runs.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any


def no_lock() -> None:
    """Writers do not wait for each other."""
    from kgraph.folder import writing

    @contextmanager
    def unlocked(folder: Path) -> Iterator[None]:
        yield

    _put(writing, "locked", unlocked)


def no_fsync() -> None:
    """Nothing is flushed to the disk."""
    _put(os, "fsync", lambda descriptor: None)


def in_place() -> None:
    """A file is written over instead of being replaced when it is whole."""
    from kgraph.folder import writing

    def replace(path: Path, old: bytes | None, new: bytes, before: Callable[[], None] | None) -> bool:
        _write(path, new)
        return True

    def write_new(target: Path, data: bytes) -> None:
        _write(target, data)

    def write_over(target: Path, data: Any) -> None:
        _write(target, data if isinstance(data, bytes) else b"".join(data))

    _put(writing, "_replace", replace)
    _put(writing, "write_new", write_new)
    _put(writing, "write_over", write_over)


def _write(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
    os.write(descriptor, data)
    os.fsync(descriptor)
    os.close(descriptor)


def no_compare() -> None:
    """What an editor saved between reading and renaming is not looked for."""
    from kgraph.folder import writing

    real = writing._replace

    def replace(path: Path, old: bytes | None, new: bytes, before: Callable[[], None] | None) -> bool:
        looked = writing._bytes_or_none
        _put(writing, "_bytes_or_none", lambda p: old)
        try:
            return real(path, old, new, before)
        finally:
            _put(writing, "_bytes_or_none", looked)

    _put(writing, "_replace", replace)


def no_cleaning() -> None:
    """What dead writers left lies there for ever."""
    from kgraph.folder import writing

    _put(writing, "remove_leftovers", lambda folder: None)


def errors_swallowed() -> None:
    """What the system refuses is passed over in silence."""
    for name in ("fsync", "replace", "write", "fchmod"):
        _put(os, name, _quiet(getattr(os, name)))


def _quiet(call: Callable[..., Any]) -> Callable[..., Any]:
    def quiet(*arguments: Any) -> Any:
        with suppress(OSError):
            return call(*arguments)
        return len(arguments[-1]) if isinstance(arguments[-1], bytes | memoryview) else None

    return quiet


def errors_raw() -> None:
    """What the system refuses reaches the user as Python tells it."""
    from kgraph.cli import main

    _put(main, "run", lambda args: main.cli.main(args=args, prog_name="kgraph", standalone_mode=False) or 0)


def deaf() -> None:
    """Ctrl-C and the signal to end are ignored."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)


def index_believed() -> None:
    """The index is taken as it lies there, whatever the files say by now."""
    from kgraph.index import freshness

    _put(freshness, "stands", lambda note, *stamps: isinstance(note, dict))


def any_version() -> None:
    """An index of any other version of the program is taken for one of its own."""
    from kgraph.index import store

    get = store.Store.get
    _put(store.Store, "get", lambda self, key: store.version() if key == "version" else get(self, key))


def _put(module: Any, name: str, value: object) -> None:
    setattr(module, name, value)


WAYS: dict[str, Callable[[], None]] = {
    way.__name__: way
    for way in (
        no_lock,
        no_fsync,
        in_place,
        no_compare,
        no_cleaning,
        errors_swallowed,
        errors_raw,
        deaf,
        index_believed,
        any_version,
    )
}
"""Name -> what takes the safety out of the modules of this process."""


def main() -> None:
    """Take the safety out that the first word names, then run the command after `--`."""
    if len(sys.argv) < 3 or sys.argv[1] not in WAYS or sys.argv[2] != "--":
        sys.exit(f"usage: python -m tests.faults.broken {'|'.join(WAYS)} -- COMMAND ...")
    # As `python -m kgraph` begins, so that nothing differs but the safety.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    WAYS[sys.argv[1]]()
    from kgraph.cli import main as program

    sys.exit(program.run(sys.argv[3:]))


if __name__ == "__main__":
    main()
