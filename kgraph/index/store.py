"""The file of a compiled index: rows under keys, each row with its own checksum.

An index only saves time. It lies in the user's cache folder, never in the fact folder, and is believed
only where it was made by this very program from files that stand as they stood. Whatever is odd about
it raises :class:`kgraph.problems.Damaged`, and the folder is read as if there were none.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import sys
import time
import zlib
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from kgraph import __version__, system, trade
from kgraph.folder.files import Stamp, stamps
from kgraph.problems import Damaged

FORM = 14
"""The form of the rows."""
OVER = ".over"
"""What the name of the file with newer rows ends in."""
LEFT_OVER_S = 86_400
"""A file that is not finished after a day was left by a process that was killed, on whatever machine."""
MOST_OVER = 4 << 20
"""The most bytes of newer rows: every question reads them all."""


def version() -> str:
    """Which program wrote an index, and over which ground of the trade: any other one's is made anew."""
    return f"{__version__} {FORM} {trade.digest()}"


def cache_folder() -> str | None:
    """Where indexes lie; None where $KGRAPH_CACHE is `off`."""
    given = os.environ.get("KGRAPH_CACHE")
    if given:
        return None if given == "off" else given
    if sys.platform == "linux":
        # What platformdirs answers here, without the time to load it.
        base = os.environ.get("XDG_CACHE_HOME", "")
        return os.path.join(base if os.path.isabs(base) else os.path.expanduser("~/.cache"), "kgraph")
    from platformdirs import user_cache_dir

    return user_cache_dir("kgraph", appauthor=False)


def index_path(folders: Iterable[str]) -> str | None:
    """The index file of these fact folders; None where indexes are switched off."""
    base = cache_folder()
    if base is None:
        return None
    named = "\0".join(os.path.realpath(f) for f in folders).encode("utf-8", "surrogateescape")
    return os.path.join(base, f"{zlib.crc32(named):08x}{zlib.adler32(named):08x}{len(named):x}.index")


def stamps_of(folders: Iterable[str]) -> list[list[Stamp]] | None:
    """The stamps of all fact files of several folders, or None where no index can stand for them."""
    found = []
    for folder in folders:
        try:
            mine = stamps(folder)
        except OSError:
            return None
        if mine is None:
            return None
        found.append(mine)
    return found


_JSON = json.JSONEncoder(separators=(",", ":"), ensure_ascii=True, check_circular=False)
"""Made once: `json.dumps` would make one for each row."""


_DECODER = json.JSONDecoder()


def packed(key: str, value: Any) -> bytes:
    """A row: its checksum over key and value, then the value as JSON."""
    text = _JSON.encode(value).encode()
    return zlib.crc32(text, zlib.crc32(key.encode("utf-8", "surrogatepass"))).to_bytes(4, "big") + text


MOST_ASKED = 500
"""The most keys in one question to the file: older versions of SQLite take no more than 999."""


class Store:
    """Rows of an index file, read one at a time; raises Damaged for a row that is missing or torn."""

    def __init__(self, path: str) -> None:
        if not os.path.isfile(path):
            raise Damaged
        try:
            place = "file:" + path.replace("%", "%25").replace("?", "%3f").replace("#", "%23")
            self.base = sqlite3.connect(place + "?mode=ro&immutable=1", uri=True)
        except sqlite3.Error:
            raise Damaged from None
        self.over: dict[str, Any] = {}
        try:
            if self.get("version") != version():
                raise Damaged
        except Damaged:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the file; nothing more can be asked."""
        self.base.close()

    def get(self, key: str) -> Any:
        """The value of a row, or None where there is none."""
        try:
            row = self.base.execute("SELECT value FROM row WHERE key = ?", (key,)).fetchone()
        except (sqlite3.Error, UnicodeError):
            raise Damaged from None
        return None if row is None else _opened(key, row[0])

    def get_all(self, keys: Sequence[str]) -> dict[str, Any]:
        """The values of the rows there are of these keys."""
        found: dict[str, Any] = {}
        for start in range(0, len(keys), MOST_ASKED):
            some = keys[start : start + MOST_ASKED]
            marks = ",".join("?" * len(some))
            try:
                rows = self.base.execute(
                    f"SELECT key, value FROM row WHERE key IN ({marks})", some
                ).fetchall()
            except (sqlite3.Error, UnicodeError):
                raise Damaged from None
            found |= {key: _opened(key, value) for key, value in rows}
        return found

    def need(self, key: str) -> Any:
        """The value of a row that must be there."""
        found = self.get(key)
        if found is None:
            raise Damaged
        return found


def _opened(key: str, value: Any) -> Any:
    if not isinstance(value, bytes) or len(value) < 5:
        raise Damaged
    text = value[4:]
    if zlib.crc32(text, zlib.crc32(key.encode("utf-8", "surrogatepass"))) != int.from_bytes(value[:4], "big"):
        raise Damaged
    return _DECODER.raw_decode(text.decode())[0]


def read_over(path: str, token: str) -> dict[str, Any]:
    """What lies over an index: its newer rows, and how the files stood. Raises Damaged."""
    try:
        with open(path + OVER, "rb") as stream:
            whole = stream.read()
        check, text = whole[:8], whole[8:]
        if check != b"%08x" % zlib.crc32(text):
            raise Damaged
        found: dict[str, Any] = json.loads(text)
    except (OSError, ValueError):
        raise Damaged from None
    if found["version"] != version() or found["token"] != token:
        raise Damaged
    return found


def write_over(path: str, over: dict[str, Any]) -> bool:
    """Put newer rows over an index at once; False where they have become too many. Raises OSError."""
    text = _JSON.encode({"version": version(), **over}).encode()
    if len(text) > MOST_OVER:
        return False
    put(path + OVER, b"%08x" % zlib.crc32(text) + text)
    return True


def put(path: str, data: bytes) -> None:
    """Put a small file in place at once. Raises OSError."""
    folder = os.path.dirname(path)
    _sweep(folder)
    descriptor, beside = _begun(folder)
    try:
        with open(descriptor, "wb") as stream:
            stream.write(data)
        os.replace(beside, path)
    except BaseException:
        os.unlink(beside)
        raise


def _mine() -> str:
    """How the name of a file begins that a process of this machine has not finished."""
    return f".new-{zlib.crc32(os.fsencode(system.machine())):08x}-"


def _begun(folder: str, suffix: str = "") -> tuple[int, str]:
    """A new file for what is being written, its descriptor and path; nobody else may read it."""
    path = os.path.join(folder, f"{_mine()}{os.getpid()}-{os.urandom(6).hex()}{suffix}")
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), path


def _sweep(folder: str) -> None:
    """Take away what processes that were killed while they wrote have left there."""
    now, mine = time.time(), _mine()
    with os.scandir(folder) as listing:
        for entry in listing:
            # Another process may have taken it away in the meantime.
            with contextlib.suppress(OSError):
                pid = entry.name.removeprefix(mine).partition("-")[0] if entry.name.startswith(mine) else ""
                dead = pid.isdecimal() and not system.is_alive(int(pid))
                old = entry.name.startswith(".new-") and entry.stat().st_mtime < now - LEFT_OVER_S
                if dead or old:
                    os.unlink(entry.path)


class Writing:
    """An index file as it is written beside; put in place at once when the block ends without an error.

    A half-written one is never seen. Raises OSError or sqlite3.Error where the cache cannot be written.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        folder = os.path.dirname(path)
        os.makedirs(folder, mode=0o700, exist_ok=True)
        _sweep(folder)
        descriptor, self.beside = _begun(folder, ".index")
        os.close(descriptor)

    def __enter__(self) -> Writing:
        try:
            self.base = sqlite3.connect(self.beside, isolation_level=None)
            # It is renamed only when complete, and a torn one is noticed: no journal is needed.
            self.base.execute("PRAGMA journal_mode = OFF")
            self.base.execute("PRAGMA synchronous = OFF")
            self.base.execute("CREATE TABLE row (key TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID")
            # The names of a large folder, until all are known: in a file that the system itself takes away.
            self.base.execute("CREATE TEMP TABLE named (hash INTEGER, key TEXT, how TEXT, entries TEXT)")
            self.base.execute("BEGIN")
        except BaseException:
            os.unlink(self.beside)
            raise
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            if kind is None:
                self.base.execute("COMMIT")
                self.base.close()
                os.replace(self.beside, self.path)
            else:
                self.base.close()
                os.unlink(self.beside)
        except BaseException:
            os.unlink(self.beside)
            raise

    def note(self, names: Iterable[tuple[int, str, str, str]]) -> None:
        """Keep names until their buckets are made: hash, key, how it is named, and by which entries."""
        self.base.executemany("INSERT INTO temp.named VALUES (?, ?, ?, ?)", names)

    def noted(self, buckets: int) -> Iterator[tuple[int, str, str, str]]:
        """The names that were kept, each with its bucket, in the order of these and as they were noted."""
        found = "SELECT hash % ? AS bucket, key, how, entries FROM temp.named ORDER BY bucket, rowid"
        yield from self.base.execute(found, (buckets,))

    def put(self, rows: Iterable[tuple[str, bytes]]) -> None:
        """Write rows, as :func:`packed` makes them."""
        self.base.executemany("INSERT INTO row VALUES (?, ?)", rows)
