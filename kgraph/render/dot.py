"""Every picture by its name, and what turns one into a file: the front of `render/pictures/`.

A picture is DOT text, the language of Graphviz; :func:`render` makes svg, png or pdf of it. Each takes
`links`, owner keys with the relative URL of a page of our own, and `title`.
"""

from __future__ import annotations

from kgraph.render.pictures.drawing import NO_DOT, format_of, render, svgs
from kgraph.render.pictures.family import family
from kgraph.render.pictures.proof import proof_of_donor, proof_of_sister, proof_of_taker
from kgraph.render.pictures.shares import shares
from kgraph.render.pictures.sheet import MOST_BOXES
from kgraph.render.pictures.takers import PicturedQuestion, takers

__all__ = [
    "MOST_BOXES",
    "NO_DOT",
    "PicturedQuestion",
    "family",
    "format_of",
    "proof_of_donor",
    "proof_of_sister",
    "proof_of_taker",
    "render",
    "shares",
    "svgs",
    "takers",
]
