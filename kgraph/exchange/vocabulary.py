"""Our own terms and those of open vocabularies that an export uses; ours are defined in `kgraph.ttl`.

Sources: RDF 1.1, SKOS (2009) and PROV-O (2013), W3C Recommendations; schema.org; QUDT 2.1 (`QuantityValue`,
`numericValue`, `hasUnit`, `ucumCode` and the names of units from memory); UCUM codes from memory.
"""

from __future__ import annotations

from importlib import resources

from kgraph.exchange.terms import BASE, PROV, RDF, RDFS, SCHEMA, SKOS, TERM, XSD, iri

QUDT = "http://qudt.org/schema/qudt/"
UNIT = "http://qudt.org/vocab/unit/"
KEY = BASE + "key:"
"""Each key of an entry is a property of this name, percent-encoded, those of the user's own as well."""

TYPE = RDF + "type"
LABEL = SKOS + "prefLabel"

PREFIXES = {
    "kgraph": TERM,
    "key": KEY,
    "prov": PROV,
    "qudt": QUDT,
    "rdf": RDF,
    "rdfs": RDFS,
    "schema": SCHEMA,
    "skos": SKOS,
    "unit": UNIT,
    "xsd": XSD,
}
"""Prefix -> namespace, as Turtle, TriG and JSON-LD shorten them."""

UNITS = {"MilliM": "mm", "N-M": "N.m", "REV-PER-MIN": "{#}/min"}
"""Units of QUDT that sizes are given in -> their UCUM code."""

NESTED_KEYS = (
    *("inside length", "inside diameter", "folded"),
    *("name", "x", "y", "diameter", "side", "drives", "rpm", "capstan"),
)
"""Keys with a meaning that no kind of entry lists: lengths of a belt, and what is said of a pulley."""

ONTOLOGY, SHAPES = "kgraph.ttl", "shapes.ttl"


def key_iri(key: str) -> str:
    """The property that a key of an entry is."""
    return iri("key", key)


def shipped(name: str) -> bytes:
    """The bytes of a file that stands beside this module: ONTOLOGY or SHAPES."""
    return (resources.files("kgraph.exchange") / name).read_bytes()
