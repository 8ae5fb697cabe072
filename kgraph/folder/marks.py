"""Where a merged entry came from, as it was once written: a mark at the end of its note, `[from NAME]`.

Nothing is written so any more (`via:` says it), but folders that have such marks are read.
"""

from __future__ import annotations

import re

_MARK = re.compile(r"\s*\[from ([^\[\]]+)\]\s*\Z")


def split_note(note: str) -> tuple[str, str]:
    """A note without its mark, and the name in the mark; "" where it has none."""
    found = _MARK.search(note)
    return (note[: found.start()], found[1].strip()) if found else (note, "")
