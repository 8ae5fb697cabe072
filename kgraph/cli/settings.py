"""What the options before the command said: nothing here takes long to load."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from pathlib import Path

    from kgraph import records


class Settings(NamedTuple):
    """What the options before the command said."""

    given: tuple[str | Path, ...]
    """The fact folders as they were named."""
    strict: bool = False
    """Whether a folder with entries that cannot be read is refused."""
    suppose: tuple[records.Entry, ...] = ()
    without: tuple[str, ...] = ()

    @property
    def folders(self) -> tuple[Path, ...]:
        """The fact folders."""
        # Loading pathlib is a twentieth of the time of a question that an index answers.
        from pathlib import Path

        return tuple(map(Path, self.given))

    @property
    def shown(self) -> list[str]:
        """The fact folders as `str` shows their paths."""
        return [_shown(os.fspath(folder)) for folder in self.given]


def _shown(folder: str) -> str:
    """What `str(Path(folder))` is."""
    if os.sep != "/" or folder.startswith("//"):
        from pathlib import Path

        return str(Path(folder))
    parts = (part for part in folder.split("/") if part not in ("", "."))
    return ("/" if folder.startswith("/") else "") + "/".join(parts) or "."
