"""The one way in which a fact file changes: entries appended whole, or not at all.

Under a lock the file is read, the new text is built and read again, and only if it holds the
old entries and the new ones, with the old bytes as a prefix, does it take the old one's place.
"""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from kgraph import system
from kgraph.folder.disk import display, read_path, reason
from kgraph.folder.files import PICTURES
from kgraph.folder.locking import locked
from kgraph.folder.new_text import checked
from kgraph.folder.nodes import LONGEST_KEY, content
from kgraph.folder.placing import (
    is_leftover,
    remove,
    remove_leftovers,
    sync_folder,
    take_new_name,
    temporary_name,
    uninterrupted,
    write_file,
)
from kgraph.folder.reading import read_bytes
from kgraph.problems import CannotRun, Where, WrongUse, shown
from kgraph.records import Plain

Value = Plain
"""What the value of a key can be: text, a list, or a mapping."""

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
    return not read.problems and [*map(content, read.entries)] == [expected[place]]


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
    with _naming(target), locked(folder):
        resolved = _resolve(folder, target)
        remove_leftovers(resolved.parent)
        pictures = folder / PICTURES
        if pictures.is_dir() and not pictures.is_symlink():
            remove_leftovers(pictures)
        for _ in range(TRIES):
            old = _bytes_or_none(resolved)
            if expect is not None and (old or b"") != expect:
                raise CannotRun(f"{display(target)}: was changed meanwhile; nothing was added; ask again")
            new, places = checked(old or b"", texts, display(target))
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
    for name in uninterrupted(os.listdir, target.parent):
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
    temporary = temporary_name(path.parent)
    try:
        write_file(temporary, new, None if old is None else path)
        if before_rename:
            before_rename()
        # An editor takes no lock: what it has saved meanwhile must not be lost.
        if _bytes_or_none(path) != old:
            temporary.unlink()
            return False
        if old is None:
            take_new_name(temporary, path)
        else:
            uninterrupted(system.replace, temporary, path)
    except FileExistsError:
        remove(temporary)
        return False
    except BaseException:
        remove(temporary)
        raise
    sync_folder(path.parent, path)
    return True


def create_folder(folder: Path) -> None:
    """Make a folder, with those above it, that lasts through a power cut; one that is there stays.

    Raises CannotRun naming the folder and the reason.
    """
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    with _naming(folder):
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            sync_folder(path.parent, path)
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "not a folder", folder)


def write_new(target: Path, data: bytes, lasting: bool = True) -> None:
    """Write a file that must not be there yet, whole or not at all, lasting through a power cut.

    Not `lasting`: one of many, which :func:`flush_all` makes last together.
    Raises CannotRun naming the file and the reason, also if it is there already.
    """
    temporary = temporary_name(target.parent)
    with _naming(target):
        try:
            write_file(temporary, data, None, lasting)
            take_new_name(temporary, target)
        except BaseException:
            remove(temporary)
            raise
        if lasting:
            sync_folder(target.parent, target)


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
        temporary = temporary_name(resolved.parent)
        try:
            write_file(temporary, data, resolved if resolved.exists() else None, lasting)
            uninterrupted(system.replace, temporary, resolved)
        except BaseException:
            remove(temporary)
            raise
        if lasting:
            sync_folder(resolved.parent, resolved)
