"""Names of the folder as IRIs, and IRIs and texts as N-Triples: the one way out for each.

A thing is `urn:kgraph:KIND:KEY` with its folded key, percent-encoded; a term of our vocabulary is
`urn:kgraph:term:NAME`. Source: RDF 1.1 N-Triples (W3C Recommendation, 2014), RFC 3986, RFC 8141.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from urllib.parse import quote

BASE = "urn:kgraph:"
TERM = BASE + "term:"
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
RDFS = "http://www.w3.org/2000/01/rdf-schema#"
SKOS = "http://www.w3.org/2004/02/skos/core#"
PROV = "http://www.w3.org/ns/prov#"
SCHEMA = "https://schema.org/"
XSD = "http://www.w3.org/2001/XMLSchema#"


@lru_cache(maxsize=65536)
def iri(kind: str, *keys: str) -> str:
    """The IRI of a thing by its kind and its folded key or keys; plain ASCII, whatever the keys hold."""
    return BASE + ":".join((kind, *map(_quoted, keys)))


@lru_cache(maxsize=65536)
def _quoted(key: str) -> str:
    # A place is asked for seldom twice, but its set and its position often.
    return quote(key, safe="")


_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def literal(text: str, datatype: str = "") -> str:
    """A text as an N-Triples literal; what is no character of Unicode becomes U+FFFD.

    What a terminal would obey (control characters, marks of direction and their kind) stands as an escape.
    """
    return f'"{text.translate(_ESCAPED)}"' + (f"^^<{datatype}>" if datatype else "")


class _Escaped(dict[int, str]):
    """How each character stands in a literal, by its code; found out when it is first met."""

    def __missing__(self, code: int) -> str:
        char = chr(code)
        if char in _ESCAPES:
            made = _ESCAPES[char]
        elif "\ud800" <= char <= "\udfff":
            made = "\ufffd"
        else:
            made = escape(char) if unseen(char) else char
        self[code] = made
        return made


_ESCAPED = _Escaped()


def unseen(char: str) -> bool:
    """Whether a character is no letter or sign to see, but something that a terminal may obey."""
    return unicodedata.category(char) in ("Cc", "Cf", "Zl", "Zp")


def escape(char: str) -> str:
    """A character by its number, as N-Triples and Turtle write it."""
    code = ord(char)
    return f"\\u{code:04X}" if code < 0x10000 else f"\\U{code:08X}"
