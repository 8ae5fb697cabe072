"""Years as the trade writes them: one, or the first and the last of a span."""

from __future__ import annotations

import re

_YEARS = re.compile(
    r"(?:about|ca\.?|~|from|since)?\s*(\d{4})(?:\s*(?:-|–|/|to|until)\s*(\d{4}|\d\d))?", re.ASCII | re.I
)


def span(text: str) -> tuple[str, str] | None:
    """The first and last year of a text such as `1981-1984`, `1979-81` or `about 1980`.

    >>> span("1979-81"), span("1983"), span("eighties")
    (('1979', '1981'), ('1983', '1983'), None)
    """
    found = _YEARS.fullmatch(text.strip())
    if found is None:
        return None
    first, last = found[1], found[2] or found[1]
    return first, last if len(last) == 4 else first[:2] + last


def overlap(one: str, other: str) -> bool:
    """Whether two texts tell of a year in common.

    >>> overlap("1982", "1981-1984"), overlap("1982", "1983-84"), overlap("1982", "eighties")
    (True, False, False)
    """
    first, second = span(one), span(other)
    return bool(first and second and first[0] <= second[1] and second[0] <= first[1])
