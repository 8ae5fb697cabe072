"""The closed lists of words that entries are written with, and a sentence for each."""

from __future__ import annotations

THINGS: dict[str, str] = {
    "set": "a model: badge, then model",
    "assembly": "a design shared by sets: chassis, tape mechanism, board, cabinet, back, power supply",
    "part": "a part design, by its number or a name of your own",
    "position": "a named place on a set or assembly",
    "kind": "how parts of a kind are compared by size",
    "source": "where a fact comes from",
    "grade": "how certain a fact of this grade is taken to be",
    "caution": "a warning, shown where a position or kind of part names it",
    "unit": "one physical set on the bench or shelf",
    "stock": "loose parts in a drawer",
    "via": "somebody whose folder was merged, and what their word counts",
}
"""Kinds of entry that declare a thing."""

FACTS: dict[str, str] = {
    "rebadge": "one design under two badges",
    "uses": "a set or assembly is built on an assembly",
    "takes": "at this place this part is fitted",
    "same": "one part under two numbers",
    "replaces": "the new number goes wherever the old one goes, not the reverse",
    "fits": "what one set has at a place was fitted to another set",
    "refuses": "tried, and it does not go",
    "distinct": "compared: two designs, however alike they look",
    "fault": "what goes wrong with a place of a design",
    "run": "the path of a belt over its pulleys",
}
"""Kinds of entry that state a fact of the designs."""

EVENTS: dict[str, str] = {
    "taken": "something was taken from a unit",
    "restored": "something owed was given back",
    "fitted": "a loose part was put in a unit",
    "inspected": "what was found at a place of a unit when somebody looked",
    "withdraw": "an earlier fact, or an entry of a thing, is taken back",
}
"""Kinds of entry that record what happened."""

KINDS: dict[str, str] = {**THINGS, **FACTS, **EVENTS}

NO_GRADE = "reported"
"""The grade of a fact that names none."""

SIZE_CERTAINTY = 0.90
"""Certainty that two generic parts of equal size are the same article: common practice, no source."""

ROLES_OF_PARTS = {"original": "what the maker fitted", "substitute": "something else that goes there"}
ROLES_OF_UNITS = {
    "donor": "may be robbed",
    "patient": "is being restored",
    "keep": "is not to be opened",
}
SOURCE_TYPES = {
    "printed": "a maker's or publisher's paper",
    "bench": "seen or done at the bench",
    "photo": "a photograph",
    "letter": "somebody's letter or word",
    "page": "a page on the web",
}

SOUND, SOUND_PERISHABLE = 0.8, 0.2
"""How surely what nobody looked at is sound; of what spoils with age: a scale of our own."""

TRUE_WORDS = {"yes", "true"}
FALSE_WORDS = {"no", "false"}

LISTS = frozenset(
    {
        "also",
        "positions",
        "except",
        "wants",
        "must match",
        "rebadge",
        "same",
        "distinct",
        "caution",
        "signs",
        "photo",
    }
)
"""Keys whose value is a list."""
MAPPINGS = frozenset({"numbers", "state", "seen", "compare"})
"""Keys whose value is a mapping."""


FITS_LIKE_BELT = "belt"
"""The key of the kind of belts, or another name of it (see `belt_kind` of a collection)."""


def is_mapping(kind: str, key: str) -> bool:
    """Whether the value of a key is a mapping: what was found of one place is a word."""
    return key in MAPPINGS and kind != "inspected"


def settles(condition: str) -> bool:
    """Whether a condition says what a place is like: `good?` asks, and says nothing."""
    return bool(condition.strip()) and not condition.strip().endswith("?")
