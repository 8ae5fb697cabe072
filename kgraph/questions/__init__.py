"""One module for each question; each gives an :class:`Answer` and prints nothing.

Certainties are never rounded.
"""

from kgraph.questions.answer import (
    BEST_ONLY,
    DEFAULT,
    DRAWN_NOTE,
    SCALE_NOTE,
    SIZE_NOTE,
    Answer,
    Row,
    Wanted,
    unlike_notes,
)
from kgraph.questions.asked import SAME, exceptions_of
from kgraph.questions.cautions import part_cautions
from kgraph.questions.donors import donors
from kgraph.questions.names import name_of, part_named, place_named, places_of
from kgraph.questions.parts import parts
from kgraph.questions.shares import shares
from kgraph.questions.sisters import sisters
from kgraph.questions.takers import takers_of_part, takers_of_place

__all__ = [
    "BEST_ONLY",
    "DEFAULT",
    "DRAWN_NOTE",
    "SAME",
    "SCALE_NOTE",
    "SIZE_NOTE",
    "Answer",
    "Row",
    "Wanted",
    "donors",
    "exceptions_of",
    "name_of",
    "part_cautions",
    "part_named",
    "parts",
    "place_named",
    "places_of",
    "shares",
    "sisters",
    "takers_of_part",
    "takers_of_place",
    "unlike_notes",
]
