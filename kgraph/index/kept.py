"""What was worked out of all facts of a large folder, kept beside its index for later questions.

Each form lies in a small file of its own, marked with the state of the index that it was worked out of: which
index, and which newer rows over it. One of another state, or a torn one, is worked out anew.
"""

from __future__ import annotations

import contextlib
import glob
import json
import os
import zlib
from typing import Any

from kgraph.fits.graph import KeptForms
from kgraph.index import store

FORM = 3
"""To be raised where a form is worked out in another way."""
LEAST_ENTRIES = 2_000
"""What a folder of fewer entries comes to is worked out as soon as it is read."""
ENDING = ".kept"


class KeptFiles(KeptForms):
    """Forms in files beside an index; those that cannot be written are kept for the one question."""

    def __init__(self, path: str, opened: store.Store) -> None:
        super().__init__()
        self._path = path
        self._state = f"{store.version()} {FORM} {opened.need('token')} {opened.over.get('token', '')}"

    def get(self, name: str) -> Any:
        """What was kept under a name; None where nothing was that can be believed."""
        found = super().get(name)
        if found is None:
            with contextlib.suppress(OSError, ValueError):
                with open(self._file(name), "rb") as stream:
                    check, text = stream.read(8), stream.read()
                if check == self._check(name, text):
                    found = json.loads(text)
        return found

    def put(self, name: str, form: Any) -> None:
        """Keep something under a name."""
        super().put(name, form)
        text = json.dumps(form, separators=(",", ":")).encode()
        with contextlib.suppress(OSError):
            store.put(self._file(name), self._check(name, text) + text)

    def _file(self, name: str) -> str:
        number = zlib.crc32(name.encode("utf-8", "surrogatepass"))
        return f"{self._path}.{number:08x}{ENDING}"

    def _check(self, name: str, text: bytes) -> bytes:
        """The checksum over what is kept, its name and the state that it belongs to."""
        said = f"{self._state}\0{name}\0".encode("utf-8", "surrogatepass")
        return b"%08x" % zlib.crc32(text, zlib.crc32(said))


def take_away(path: str) -> None:
    """Take away all that is kept beside an index."""
    for one in glob.glob(f"{glob.escape(path)}.*{ENDING}"):
        with contextlib.suppress(OSError):
            os.unlink(one)
