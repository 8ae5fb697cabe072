"""The IRI of each node, and what is said of it by itself."""

from __future__ import annotations

from kgraph.exchange import places
from kgraph.exchange.statements import Block, Nested, Pair, real
from kgraph.exchange.terms import PROV, SCHEMA, TERM, iri
from kgraph.exchange.vocabulary import QUDT, TYPE, UNIT

CLASSES = {
    "set": SCHEMA + "ProductModel",
    "part": TERM + "Part",
    "assembly": TERM + "Assembly",
    "position": TERM + "Position",
    "kind": TERM + "Kind",
    "caution": TERM + "Caution",
    "source": PROV + "Entity",
    "via": PROV + "Agent",
    "grade": TERM + "Grade",
    "unit": SCHEMA + "IndividualProduct",
    "stock": TERM + "Stock",
    "place": TERM + "Place",
    "alike": TERM + "LikePlaces",
    "mounting": TERM + "Mounting",
}
"""Kind of thing -> the class that says it."""


def iri_of(node: places.Node) -> str:
    """The IRI of a node of the links."""
    if node[0] in ("place", "alike"):
        return iri(node[0], node[1][0], node[1][2:], node[2])
    return iri(*node)


def owner_iri(owner: str) -> str:
    """The IRI of a set or assembly from its owner key."""
    return iri("set" if owner[0] == "s" else "assembly", owner[2:])


def node_block(node: places.Node) -> Block:
    """A place or a mounting, and what it is of; of like places, at which position all of them are."""
    pairs: list[Pair] = [(TYPE, CLASSES[node[0]])]
    if node[0] == "mounting":
        pairs.append((TERM + "ofSet", iri("set", node[1])))
    else:
        if node[0] == "place":
            pairs.append((TERM + ("ofSet" if node[1][0] == "s" else "ofAssembly"), owner_iri(node[1])))
        pairs.append((TERM + "atPosition", iri("position", node[2])))
    return Block(iri_of(node), tuple(pairs))


def quantity_node(value: float, unit: str, *more: Pair) -> Nested:
    told = (
        (TYPE, QUDT + "QuantityValue"),
        (QUDT + "numericValue", real(value)),
        (QUDT + "hasUnit", UNIT + unit),
    )
    return Nested((*more, *told))
