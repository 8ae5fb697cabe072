"""Where each page of a book lies: a file name made of our own letters, never of a raw name."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from dataclasses import dataclass

from kgraph.collection import Collection

FOLDERS = {
    "set": "sets",
    "assembly": "assemblies",
    "part": "parts",
    "position": "positions",
    "unit": "units",
    "family": "families",
    "arrival": "arrivals",
    "list": "lists",
}
"""Kind of page -> the folder of the book that it lies in."""

LONGEST_SLUG = 40
_HASH_DIGITS = 10


@dataclass(frozen=True, slots=True)
class Ref:
    """A thing that has a page: its name, and the page's address from the top of the book."""

    name: str
    href: str
    kind: str = ""


def slug(text: str) -> str:
    """A text in `a` to `z`, digits and single hyphens; empty where it has none of them.

    >>> slug("Larkfield LK-40"), slug("../../etc"), slug("Straße 1")
    ('larkfield-lk-40', 'etc', 'strae-1')
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).lstrip("-")[:LONGEST_SLUG].rstrip("-")


def page_path(kind: str, key: str, name: str) -> str:
    """The file of a thing's page, like `sets/larkfield-lk-40-1f0c4a9b2e.html`.

    The hash is of kind and key, so two things never share a file, whatever the case of their names;
    a slug in front of a hash can be no name that a system reserves.
    """
    digest = hashlib.sha256(f"{kind}\0{key}".encode("utf-8", "surrogatepass")).hexdigest()[:_HASH_DIGITS]
    return f"{FOLDERS[kind]}/{slug(name) or kind}-{digest}.html"


def is_page_path(path: str) -> bool:
    """Whether a path is one that a book can hold: what a list of files says is never trusted further."""
    return re.fullmatch(r"(?:[a-z]{1,12}/)?[a-z0-9-]{1,64}\.(?:html|css|js|json|jpg)", path) is not None


def photo_path(photo: str) -> str:
    """The file of the thumbnail of a photograph, by its path in the folder."""
    return f"photos/{hashlib.sha256(photo.encode('utf-8', 'surrogatepass')).hexdigest()[:16]}.jpg"


def refs_of(data: Collection) -> dict[tuple[str, str], Ref]:
    """(kind, key) -> the page of every set, assembly, part, position and unit that is known."""
    return {
        (kind, key): Ref(name, page_path(kind, key, name), kind)
        for kind in ("set", "assembly", "part", "position", "unit")
        for key, name in sorted(data.known(kind).items())
    }
