"""The one way in which a fact file changes: entries appended whole, or not at all.

Under a lock the file is read, the new text is built and read again, and only if it holds the
old entries and the new ones, with the old bytes as a prefix, does it take the old one's place.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from kgraph import system
from kgraph.folder.disk import MOST_BYTES, display, read_path, reason
from kgraph.folder.files import PICTURES
from kgraph.folder.nodes import LONGEST_KEY, Map, Node, Seq, Text
from kgraph.folder.reading import ReadFile, read_bytes, read_plain
from kgraph.problems import CannotRun, Problem, Where, WrongUse, shown
from kgraph.records import Plain

_Result = TypeVar("_Result")

Value = Plain
"""What the value of a key can be: text, a list, or a mapping."""

LOCK_NAME = ".kgraph.lock"
LOCK_WAIT_S = 60.0
"""How long to wait for one and the same other writer, in seconds."""
LEFT_OVER_S = 86_400.0
"""Nobody takes a day to write a file, in seconds."""
TRIES = 5
"""How often to begin again because somebody saved the file meanwhile."""


@dataclass(frozen=True, slots=True)
class Appended:
    """Where each new entry stands, in the order given."""

    places: tuple[Where, ...]


# --- Values -> text ------------------------------------------------------------------------------

_SAFE = re.compile(r"[^\W_](?:[\w./+-]|[ ](?=[\w./+-]))*\Z")
_NAMED_ESCAPES = {"\n": "\\n", "\t": "\\t", "\r": "\\r", "\\": "\\\\", '"': '\\"'}


def entry_text(pairs: Sequence[tuple[str, Value]]) -> str:
    """One entry as an item of a YAML list: `- key: value`, then a line for each further key.

    Read again it gives the same texts, letter for letter. Raises WrongUse for an entry without
    keys and for text that is not Unicode.
    """
    if not pairs:
        raise WrongUse("an entry has at least one key")
    lines = [f"{_scalar(key, 'key')}:{_after_key(value)}" for key, value in pairs]
    return "- " + "\n  ".join(lines) + "\n"


def _after_key(value: Value) -> str:
    if isinstance(value, list) and any(isinstance(item, dict) for item in value):
        return "".join(f"\n    - {_text_at(item, 'item')}" for item in value)
    return f" {_text_at(value, 'value')}"


def _text_at(value: Value, place: str) -> str:
    return _scalar(value, place) if isinstance(value, str) else flow_text(value)


def flow_text(value: Value) -> str:
    """A value on one line, as it stands inside brackets; raises as :func:`entry_text`."""
    if isinstance(value, str):
        return _scalar(value, "flow")
    if isinstance(value, list):
        return f"[{', '.join(map(flow_text, value))}]"
    return "{" + ", ".join(f"{_scalar(k, 'flow')}: {flow_text(v)}" for k, v in value.items()) + "}"


@lru_cache(maxsize=4096)
def _scalar(text: str, place: str) -> str:
    """A text as it is if it then reads as itself at this place (of :data:`_TRIALS`), else quoted."""
    if any("\ud800" <= c <= "\udfff" for c in text):
        raise WrongUse(f"'{shown(text)}' is not text: it holds half of a character")
    if _SAFE.match(text) or _reads_plain(text, place):
        return text
    if text.isprintable() and ('"' in text or "\\" in text):
        return "'" + text.replace("'", "''") + "'"
    return '"' + "".join(c if c.isprintable() and c not in '"\\' else _escape(c) for c in text) + '"'


def _escape(char: str) -> str:
    code = ord(char)
    if char in _NAMED_ESCAPES:
        return _NAMED_ESCAPES[char]
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


_TRIALS = {
    "value": "- k: {0}\n",
    "item": "- k:\n    - {0}\n",
    "key": "- {0}: k\n",
    "flow": "- k: [{0}, {{{0}: {0}, k: {0}}}]\n",
}


def _reads_plain(text: str, place: str) -> bool:
    """Whether the reader reads a text as itself when nothing is put round it."""
    if not text or not text.isprintable() or (place in ("key", "flow") and len(text) > LONGEST_KEY):
        return False
    read = read_bytes(_TRIALS[place].format(text).encode(), "")
    expected: dict[str, object] = {
        "value": [("k", text)],
        "item": [("k", (text,))],
        "key": [(text, "k")],
        "flow": [("k", (text, [(text, text), ("k", text)]))],
    }
    return not read.problems and [*map(_content, read.entries)] == [expected[place]]


def _content(node: Node) -> object:
    """A node without its places, to compare by."""
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return tuple(_content(item) for item in node.items)
    return [(key.value, _content(value)) for key, value in node.pairs]


# --- Lock ----------------------------------------------------------------------------------------


@contextmanager
def _lock(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. It is a file of its own: a fact file's inode changes at each write."""
    path = folder / LOCK_NAME
    descriptor = system.open_file(path, os.O_RDONLY | os.O_CREAT, through_links=False)
    lock = system.Lock(descriptor, path)
    try:
        _wait_for(lock)
        yield
    finally:
        # Nothing was written through it, and what was written stands: closing it can undo nothing.
        with suppress(OSError):
            lock.give_back()
        with suppress(OSError):
            os.close(descriptor)


def _wait_for(lock: system.Lock) -> None:
    """Take the lock of an open file. Its time of change tells those who wait that somebody has his turn.

    Raises CannotRun where one and the same writer keeps it for :data:`LOCK_WAIT_S`.
    """
    status = os.fstat(lock.descriptor)
    if not stat.S_ISREG(status.st_mode):
        raise CannotRun(f"{display(lock.path)}: not a regular file; take it away")
    turn, end = status.st_mtime_ns, time.monotonic() + LOCK_WAIT_S
    while not lock.take():
        if time.monotonic() > end:
            before, turn = turn, os.fstat(lock.descriptor).st_mtime_ns
            if turn == before:
                says = f"{display(lock.path)}: another program has been writing for {LOCK_WAIT_S:.0f} s"
                raise CannotRun(says)
            end = time.monotonic() + LOCK_WAIT_S
        time.sleep(0.005)
    # A lock that belongs to another user cannot be marked; then the whole wait is LOCK_WAIT_S long.
    with suppress(OSError):
        os.utime(lock.descriptor if os.utime in os.supports_fd else lock.path)


# --- The new text of a file ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Layout:
    """How a file is written: the column of its dashes and its line end."""

    indent: int
    newline: str


_END = re.compile(r"(?:\A|[\r\n])\.\.\.(?=[ \t\r\n]|\Z)")
_FIRST_ITEM = re.compile(r"(?:\A|[\r\n])(?P<indent> *)(?:---[ \t]+)?(?P<open>[^ \t\r\n#%])[^\r\n]*")


def _layout(text: str, name: str) -> _Layout:
    """The layout of a file that reads without errors; raises CannotRun if nothing can be appended."""
    if _END.search(text):
        raise CannotRun(f"{name}: ends with the line ...; take it out, or add to another file")
    indent = 0
    for match in _FIRST_ITEM.finditer(text.removeprefix("\ufeff")):
        if match[0].strip("\r\n").startswith("---") and match["open"] == "-":
            continue
        if match["open"] != "-":
            raise CannotRun(
                f"{name}: is one list in brackets [...]; add to another file, for example new.yaml"
            )
        indent = len(match["indent"])
        break
    ends = re.findall(r"\r\n|\n", text) or re.findall(r"\r", text) or ["\n"]
    return _Layout(indent, ends[-1])


def _appended(old: bytes, texts: Sequence[str], name: str) -> bytes:
    """The bytes of a file with the entries after its last one, in its own layout."""
    text = old.decode()
    layout = _layout(text, name)
    texts = [t.replace("\r\n", "\n") for t in texts]
    new = "".join(t if t.endswith("\n") else t + "\n" for t in texts)
    if layout.indent:
        new = re.sub(r"^(?=[^\n])", " " * layout.indent, new, flags=re.MULTILINE)
    if text.strip("\ufeff") and not text.endswith(("\n", layout.newline)):
        new = "\n" + new
    return old + new.replace("\n", layout.newline).encode()


def _single_entries(texts: Sequence[str]) -> list[Map]:
    """The entries of the texts to append; each must be exactly one."""
    entries: list[Map] = []
    for text in texts:
        read = read_bytes(text.encode(errors="surrogatepass"), "the new entry")
        errors = [p for p in read.problems if p.severity == "error"]
        if errors or len(read.entries) != 1:
            raise CannotRun("nothing was written: the new entry cannot be read back", *errors)
        entries += read.entries
    return entries


def _refuse_errors(read: ReadFile) -> None:
    errors = [p for p in read.problems if p.severity == "error"]
    if errors:
        raise CannotRun(f"{read.path}: nothing was added, for the file has errors; mend them first", *errors)


def _plainly_checked(
    old: bytes, texts: Sequence[str], new_entries: Sequence[Map]
) -> tuple[bytes, tuple[Map, ...]] | None:
    """The new bytes and the new entries in them, where old and new lines are of the plain shape; else None.

    A plain file is read line by line, and no line changes how one before it is read. So where the new text
    reads plainly, and its last entries are the new ones and begin in the line after the old text, the others
    are those of the old text, which has no fault: it need not be read by itself.
    """
    new = old + "".join(texts).encode()
    if len(new) > MOST_BYTES or not (old.endswith(b"\n") or not old) or not new.endswith(b"\n"):
        return None
    after = read_plain(new)
    if after is None or len(after) < len(texts):
        return None
    added = after[-len(texts) :]
    begins = added[0].line == old.count(b"\n") + 1
    return (new, added) if begins and [*map(_content, added)] == [*map(_content, new_entries)] else None


def _checked(old: bytes, texts: Sequence[str], name: str) -> tuple[bytes, tuple[Where, ...]]:
    """The new bytes of a file, and where the new entries stand; raises CannotRun if they do not fit."""
    new_entries = _single_entries(texts)
    plainly = _plainly_checked(old, texts, new_entries)
    if plainly is not None:
        new, added = plainly
        return new, tuple(Where(name, e.line, e.column) for e in added)
    before = read_bytes(old, name)
    _refuse_errors(before)
    new = _appended(old, texts, name)
    if len(new) > MOST_BYTES:
        raise CannotRun(f"{name}: would be larger than {MOST_BYTES // 2**20} MiB; add to another file")
    after = read_bytes(new, name)
    count = len(before.entries)
    added = after.entries[count:]
    same = after.entries[:count] == before.entries
    if not same or [*map(_content, added)] != [*map(_content, new_entries)]:
        line = before.entries[-1].line if before.entries else 1
        mend = "end the file with an empty line at the left margin, or add to another file"
        says = "nothing was added, for the last entry would change"
        raise CannotRun(Problem(Where(name, line), "append", says, mend))
    _refuse_errors(after)
    return new, tuple(Where(name, e.line, e.column) for e in added)


# --- Files ---------------------------------------------------------------------------------------


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Turn what the system refuses into a message that names the file."""
    try:
        yield
    except OSError as error:
        name, other = f"{display(path)}: {reason(error)}", _other_path(error, path)
        if other is not None:
            name += f" ({display(other)})"
        raise CannotRun(f"{name}; nothing was written") from error


def _other_path(error: OSError, path: Path) -> Path | None:
    """What the system refused, where it is not this path: for what is not finished, the folder."""
    if not isinstance(error.filename, (str, os.PathLike)):
        # None, or the number of an open file.
        return None
    found = Path(error.filename)
    found = found.parent if is_leftover(found.name) else found
    return None if found == path else found


def append(
    folder: Path,
    target: Path,
    texts: Sequence[str],
    *,
    expect: bytes | None = None,
    before_rename: Callable[[], None] | None = None,
) -> Appended:
    """Append entries, each a text as of :func:`entry_text`, to a fact file of a folder.

    `expect`: the bytes that the file must have (b"" for one that is not there), if given.
    `before_rename` is called when the new file is written and has not yet taken the old one's
    place. A file that is not there is made. Raises CannotRun, and leaves the file as it was.
    """
    if not texts:
        return Appended(())
    with _naming(target), _lock(folder):
        resolved = _resolve(folder, target)
        remove_leftovers(resolved.parent)
        pictures = folder / PICTURES
        if pictures.is_dir() and not pictures.is_symlink():
            remove_leftovers(pictures)
        for _ in range(TRIES):
            old = _bytes_or_none(resolved)
            if expect is not None and (old or b"") != expect:
                raise CannotRun(f"{display(target)}: was changed meanwhile; nothing was added; ask again")
            new, places = _checked(old or b"", texts, display(target))
            if _replace(resolved, old, new, before_rename):
                return Appended(places)
    raise CannotRun(f"{display(target)}: somebody else keeps saving it; nothing was added")


def _resolve(folder: Path, target: Path) -> Path:
    """The file itself, links followed; it must be inside of the folder and where it is read."""
    try:
        resolved, root = target.resolve(), folder.resolve()
        named = target.parent.resolve() / target.name
    except RuntimeError as error:
        raise CannotRun(f"{display(target)}: {error}") from None
    inside = resolved.is_relative_to(root) and named.is_relative_to(root) and target.suffix == ".yaml"
    parts = named.relative_to(root).parts if inside else ()
    if not inside or parts[0] == PICTURES or any(part.startswith(".") for part in parts):
        raise WrongUse(f"{display(target)}: is not a fact file of {display(folder)}; name a .yaml file in it")
    _refuse_name(target)
    return resolved


def _refuse_name(target: Path) -> None:
    """Raise WrongUse for a new file whose name cannot be on every system, or is another one's on some."""
    if os.path.lexists(target):
        return
    says = system.not_everywhere(target.name)
    for name in _uninterrupted(os.listdir, target.parent):
        if name.casefold() == target.name.casefold():
            says = f"differs from {display(name)} in the case of letters alone"
            says += ", and Windows and macOS take them for one file"
    if says:
        raise WrongUse(f"{display(target)}: {says}; choose another name")


def _bytes_or_none(path: Path) -> bytes | None:
    """The bytes of a fact file, or None if it is not there."""
    try:
        status = path.lstat()
    except FileNotFoundError:
        return None
    if status.st_nlink > 1 and stat.S_ISREG(status.st_mode):
        says = f"{display(path)}: has another hard link, which would keep the old text; nothing was added"
        raise CannotRun(f"{says}; make it a file of its own, or add to another file")
    return read_path(path)


def _replace(path: Path, old: bytes | None, new: bytes, before_rename: Callable[[], None] | None) -> bool:
    """Put new bytes in the place of the old ones; False if the old ones are no longer there."""
    temporary = _temporary_name(path.parent)
    try:
        _write_file(temporary, new, None if old is None else path)
        if before_rename:
            before_rename()
        # An editor takes no lock: what it has saved meanwhile must not be lost.
        if _bytes_or_none(path) != old:
            temporary.unlink()
            return False
        if old is None:
            _take_new_name(temporary, path)
        else:
            _uninterrupted(system.replace, temporary, path)
    except FileExistsError:
        _remove(temporary)
        return False
    except BaseException:
        _remove(temporary)
        raise
    _sync_folder(path.parent, path)
    return True


def _remove(path: Path) -> None:
    with suppress(OSError):
        _uninterrupted(os.unlink, path)


def _uninterrupted(call: Callable[..., _Result], *arguments: Path) -> _Result:
    """Do what network drives may break off for a signal; Python begins most calls again, but not these."""
    while True:
        with suppress(InterruptedError):
            return call(*arguments)


def _temporary_name(folder: Path) -> Path:
    return folder / f".kgraph-{os.getpid()}-{os.urandom(6).hex()}.tmp"


def _write_file(path: Path, data: bytes | Iterable[bytes], like: Path | None, lasting: bool = True) -> None:
    """Write a file that is not there yet and flush it; owner, mode and rights as of another."""
    # Such a file is not made through a link either: see O_EXCL of open(2).
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | system.AS_BYTES
    descriptor = os.open(path, flags, 0o666 if like is None else 0o600)
    try:
        if like is not None:
            system.copy_rights(like, path, descriptor)
        for piece in (data,) if isinstance(data, bytes) else data:
            rest = memoryview(piece)
            while rest:
                rest = rest[os.write(descriptor, rest) :]
        if lasting:
            os.fsync(descriptor)
    finally:
        _close(descriptor)


def _close(descriptor: int) -> None:
    """Close what was flushed; Linux has closed it even where a signal broke the call off."""
    with suppress(InterruptedError):
        os.close(descriptor)


_NO_LINKS = frozenset({errno.EPERM, errno.EACCES, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK})
"""How file systems say that they have no hard links: EPERM and EMLINK by link(2), the others from memory."""


def _take_new_name(temporary: Path, path: Path) -> None:
    """Give a written file its name, if nothing has that name; raises FileExistsError otherwise."""
    try:
        _uninterrupted(system.link_new, temporary, path)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # A file system without hard links: look, then rename.
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "is there already", path) from None
        _uninterrupted(os.rename, temporary, path)
        return
    # The text has its name: that the other one stays is no failure, and the next writer removes it.
    _remove(temporary)


def _sync_folder(folder: Path, path: Path) -> None:
    """Make a new name last through a power cut."""
    try:
        system.sync_folder(folder)
    except OSError as error:
        says = f"{display(path)}: written, but the disk did not confirm it: {reason(error)}"
        raise CannotRun(f"{says}; look whether the text is there before you add it again") from error


_LEFTOVER = re.compile(r"\.kgraph-(\d{1,10})-[0-9a-f]{12}\.tmp\Z")


def is_leftover(name: str) -> bool:
    """Whether a name is one that a writer gives to what is not finished."""
    return _LEFTOVER.match(name) is not None


def remove_leftovers(folder: Path) -> None:
    """Remove the temporary files of writers that died."""
    for name in _uninterrupted(os.listdir, folder):
        match = _LEFTOVER.match(name)
        if match and (not system.is_alive(int(match[1])) or _is_old(folder / name)):
            _remove(folder / name)


def _is_old(path: Path) -> bool:
    """Whether a temporary file is so old that its writer is gone, whoever has its number now."""
    try:
        return path.lstat().st_mtime < time.time() - LEFT_OVER_S
    except OSError:
        return False


def create_folder(folder: Path) -> None:
    """Make a folder, with those above it, that lasts through a power cut; one that is there stays.

    Raises CannotRun naming the folder and the reason.
    """
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    with _naming(folder):
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            _sync_folder(path.parent, path)
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "not a folder", folder)


def write_new(target: Path, data: bytes, lasting: bool = True) -> None:
    """Write a file that must not be there yet, whole or not at all, lasting through a power cut.

    Not `lasting`: one of many, which :func:`flush_all` makes last together.
    Raises CannotRun naming the file and the reason, also if it is there already.
    """
    temporary = _temporary_name(target.parent)
    with _naming(target):
        try:
            _write_file(temporary, data, None, lasting)
            _take_new_name(temporary, target)
        except BaseException:
            _remove(temporary)
            raise
        if lasting:
            _sync_folder(target.parent, target)


def flush_all() -> None:
    """Have all that was written last through a power cut."""
    os.sync()


def _write_into(device: Path, data: bytes | Iterable[bytes]) -> None:
    with device.open("wb") as stream:
        for piece in (data,) if isinstance(data, bytes) else data:
            stream.write(piece)


def write_over(target: Path, data: bytes | Iterable[bytes], lasting: bool = True) -> None:
    """Write a file of results, whole or not at all; one of that name is replaced, links followed.

    Not `lasting`: one of many, which :func:`flush_all` makes last together.
    `data` may be made piece by piece while it is written. What is there and no regular file (a device, a
    pipe) is written into, never replaced. Raises CannotRun naming the file and the reason.
    """
    with _naming(target):
        resolved = target.resolve()
        if resolved.exists() and not resolved.is_file():
            _write_into(resolved, data)
            return
        temporary = _temporary_name(resolved.parent)
        try:
            _write_file(temporary, data, resolved if resolved.exists() else None, lasting)
            _uninterrupted(system.replace, temporary, resolved)
        except BaseException:
            _remove(temporary)
            raise
        if lasting:
            _sync_folder(resolved.parent, resolved)
