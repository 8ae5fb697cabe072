"""The usual keys of each kind of entry, in the order in which a person reads them off the thing.

`add` on a terminal asks for them, `add KIND --help` lists them. A thing may have any further key. Which keys
the trade records of a thing is common practice, no source. Every name in an example is invented.
"""

from __future__ import annotations

from typing import NamedTuple

from kgraph.names import fold


class Key(NamedTuple):
    """A key and an example of its value.

    `many`: it may have several values. `asked`: whether it is asked for, or only told of in the help.
    """

    name: str
    example: str
    says: str = ""
    many: bool = False
    asked: bool = True


ALSO = Key("also", "LK 40 L", "other spellings", many=True)
_SPENT = (
    Key("cost", "4.50 EUR", "what was paid, with the code of the currency", asked=False),
    Key("hours", "1.5", "what it took", asked=False),
)
NOTE = Key("note", "from the box in the loft", "anything else worth keeping")

VIA = Key("via", "bert", "whose folder it came by; `merge` writes it", many=True, asked=False)
CALLED = Key("called", "LK-41", "the name that it is shown by now; `rename` writes it", asked=False)

CORRECTS = Key(
    "corrects", "3f9a1c2b7d04e811", "the id of what it puts right; `correct` writes it", asked=False
)
SOURCE = Key("source", "parts list, LK-40", "where it stands", many=True)

EVIDENCE = (
    Key("how", "compared", "fitted, measured, printed, compared, photo, reported, guess"),
    SOURCE,
    Key("by", "AK", "who found it"),
    Key("date", "2026-03-01"),
    Key("note", "looked at in daylight", "anything else worth keeping"),
    Key("page", "14", "where in the source", asked=False),
    Key("photo", "photos/3f9a1c2b7d04e811.jpg", "a picture in the folder", many=True, asked=False),
    Key("certainty", "0.9", "a number instead of a grade", asked=False),
    Key("trust", "0.7", "what the word of who says it counts", asked=False),
    Key("id", "bench-17", "an id of your own", asked=False),
    VIA,
    CORRECTS,
)
"""What every fact and event may carry beside what it states."""

THINGS: dict[str, tuple[Key, ...]] = {
    "set": (
        Key("set", "Larkfield LK-40", "badge, then model"),
        Key("badge", "Larkfield", "where badge and model do not part at the last word", asked=False),
        Key("model", "LK-40", asked=False),
        ALSO,
        Key("market", "UK"),
        Key("years", "1981-1984"),
        Key("mains", "240 V 50 Hz", "as on the type plate"),
        Key("bands", "FM 87.5-108 MHz", many=True),
        Key("features", "line socket", many=True),
        Key("size", "410 x 240 x 120 mm", "width, height, depth"),
        NOTE,
    ),
    "assembly": (
        Key("assembly", "TN7 mechanism"),
        ALSO._replace(example="TN-7 deck"),
        Key("kind", "tape mechanism", "chassis, tape mechanism, board, cabinet, back, power supply"),
        Key("positions", "main belt", "the places that belong to it", many=True),
        NOTE,
    ),
    "part": (
        Key("part", "K-114", "its number, or a name of your own"),
        ALSO._replace(example="K 114 A"),
        Key("kind", "knob", "knob, belt, screw, fuse, lamp, switch tip, ..."),
        Key("numbers", "Larkfield=440 1882", "a maker and its number", many=True),
        Key("made", "brass wire, drawing pointer.svg", "where it was made by hand: of what, and how"),
        NOTE,
    ),
    "position": (
        Key("position", "dial glass", "a place on a set or assembly"),
        ALSO._replace(example="scale glass"),
        Key("must match", "mains", "what host and donor must agree on", many=True),
        Key("caution", "mains", "shown with every answer there", many=True),
        Key("perishable", "no", "yes: what is there ages whether it is used or not", asked=False),
    ),
    "kind": (
        Key("kind", "knob", "a kind of part"),
        ALSO._replace(example="button"),
        Key("generic", "no", "yes: of equal size is enough to be the same article"),
        Key("compare", "shaft=same", "a size and how it compares: same, 0.1 mm, 2 %, at least", many=True),
        Key("certainty", "0.9", "that equal size means the same article"),
        Key("caution", "solvents", many=True),
        Key("perishable", "yes", "whether it ages whether it is used or not", asked=False),
        Key("sound", "0.8", "how surely one that nobody looked at is sound", asked=False),
    ),
    "source": (
        Key("source", "parts list, LK-40"),
        ALSO._replace(example="parts list 40"),
        Key("type", "printed", "printed, bench, photo, letter, page"),
        Key("where", "page 14"),
        Key("date", "1982-05"),
        Key("trust", "0.8", "what its word counts"),
        NOTE,
    ),
    "via": (
        Key("via", "bert", "the name that their folder was merged by"),
        Key("trust", "0.6", "what their word counts"),
        Key("date", "2026-03-01"),
        ALSO._replace(example="bert's club folder", asked=False),
        NOTE,
    ),
    "grade": (
        Key("grade", "fitted", "one of the scale, or a new one"),
        Key("certainty", "0.99"),
        ALSO._replace(example="tried", asked=False),
    ),
    "caution": (
        Key("caution", "hot lamps", "a name for it"),
        Key("text", "Let the lamps cool before they are touched."),
        ALSO._replace(example="lamps", asked=False),
    ),
    "unit": (
        Key("unit", "U-07", "what you call this one set"),
        Key("set", "Larkfield LK-40", "Enter while nobody knows what it is"),
        Key("role", "donor", "donor, patient or keep"),
        Key("state", "dial glass=cracked", "a place and what was found there", many=True),
        Key("wants", "volume knob", "the places that want something", many=True),
        Key("seen", "stamp=TN7", "what was seen of it", many=True),
        Key("keep", "5", "0 to 10: how much it is to be kept whole"),
        *_SPENT,
        NOTE,
        ALSO._replace(example="the grey one", asked=False),
    ),
    "stock": (
        Key("stock", "K-114", "the part"),
        Key("count", "3"),
        Key("where", "drawer 4"),
        NOTE,
        ALSO._replace(example="spare knobs", asked=False),
    ),
}  # fmt: skip

_IN = Key("in", "Larkfield LK-40", "a set or an assembly")
_POSITION = Key("position", "volume knob")

FACTS: dict[str, tuple[Key, ...]] = {
    "rebadge": (
        Key("rebadge", "Larkfield LK-40; Orvanek 2200", "the two sets", many=True),
        Key("except", "line socket", "positions, features or assemblies in which they differ", many=True),
    ),
    "uses": (
        Key("uses", "TN7 mechanism", "the assembly"),
        _IN,
        Key("except", "counter belt", "the places of it that are others there", many=True),
    ),
    "takes": (
        Key("takes", "K-114", "the part"),
        _IN,
        _POSITION,
        Key("role", "original", "original or substitute"),
    ),
    "same": (Key("same", "K-114; 440 1882", "the two numbers", many=True),),
    "distinct": (Key("distinct", "Larkfield LK-40; Quillon 31", "the two sets", many=True),),
    "replaces": (
        Key("replaces", "K-114B", "the new number"),
        Key("old", "K-114", "the old number"),
    ),
    "fits": (
        Key("fits", "Orvanek 2200", "the set that it comes from"),
        _POSITION._replace(says="its place there"),
        Key("to", "Quillon 31", "the set that it was fitted to"),
        Key("at", "tone knob", "its place there, where that is another"),
        Key("both ways", "no"),
        Key("work", "ream the bore to 6.1 mm"),
    ),
    "refuses": (
        Key("refuses", "K-114", "a part, or a set that it comes from"),
        Key("from", "volume knob", "of a set: its place there"),
        _IN._replace(example="Quillon 31", says="the set or assembly on which it was tried"),
        _POSITION,
    ),
    "fault": (
        Key("fault", "slide switch oxidised", "what goes wrong"),
        _IN._replace(example="TN7 mechanism"),
        _POSITION._replace(example="record switch"),
        Key("signs", "oscillates while recording; one side weak", "what is seen or heard of it", many=True),
        Key("check", "work the switch and listen", "what to look at first"),
        Key("cure", "contact cleaner, then work it to and fro"),
    ),
    "run": (
        Key("run", "main belt", "the place of the belt"),
        _IN._replace(example="TN7 mechanism"),
        Key(
            "pulleys",
            "name=motor, x=0 mm, y=0 mm, diameter=9 mm; name=flywheel, x=62 mm, y=5 mm, diameter=58 mm",
            "in the order in which the belt meets them; also side, drives, rpm, capstan",
            many=True,
        ),
        Key("stretch", "4 % to 10 %", "what is wanted"),
        Key("pull", "25 g cm at flywheel", "what the load asks for"),
    ),
    "taken": (
        Key("taken", "volume knob", "the place"),
        Key("from", "U-07", "the unit that it came off"),
        Key("to", "U-11", "the unit that it went on, if any"),
        Key("at", "tone knob", "its place there, where that is another"),
        Key("owed", "yes", "yes: the first unit is to get one back"),
        *_SPENT,
    ),
    "restored": (
        Key("restored", "volume knob", "the place"),
        Key("to", "U-07", "the unit that got it back"),
        Key("part", "K-114"),
        *_SPENT,
    ),
    "fitted": (
        Key("fitted", "SQ 1.25 x 262", "the loose part"),
        Key("to", "U-11", "the unit that it was put in"),
        Key("at", "main belt", "its place there"),
        *_SPENT,
    ),
    "inspected": (
        Key("inspected", "record head", "the place"),
        Key("of", "U-07", "the unit"),
        Key("state", "worn", "what was found"),
        *_SPENT,
    ),
    "withdraw": (
        Key("withdraw", "3f9a1c2b7d04e811", "the id of what is taken back"),
        Key("why", "misread label"),
        Key("all sayings", "yes", "also what others say of it", asked=False),
    ),
}

_LENGTH, _DIAMETER = Key("length", "12 mm"), Key("diameter", "22 mm")
_VOLTAGE = Key("voltage", "12 V")
PARTS: dict[str, tuple[Key, ...]] = {
    "knob": (
        Key("shaft", "6 mm D", "what it goes on"),
        Key("bore", "6.1 mm"),
        Key("depth", "14 mm", "of the bore"),
        _DIAMETER,
        Key("height", "16 mm"),
        Key("colour", "black, silver rim"),
    ),
    "belt": (
        Key("section", "square 1.25 mm", "square A, flat WIDTH x THICKNESS, round DIAMETER"),
        Key("inside length", "262 mm", "around the inside, at rest; or `folded`, half of it"),
        Key("hardness", "60 Shore A"),
    ),
    "switch tip": (Key("slot", "2 x 1 mm"), _LENGTH, Key("colour", "red")),
    "screw": (
        Key("thread", "M3"),
        _LENGTH,
        Key("head", "pan, cross"),
        Key("material", "steel, zinc"),
    ),
    "fuse": (
        Key("rating", "T 250 mA", "its speed and current"),
        Key("voltage", "250 V"),
        Key("size", "5 x 20 mm"),
    ),
    "lamp": (_VOLTAGE, Key("current", "60 mA"), Key("base", "wire ends"), _DIAMETER._replace(example="4 mm")),
    "resistor": (Key("resistance", "4.7 kOhm"), Key("power", "0.25 W"), Key("tolerance", "5 %")),
    "capacitor": (
        Key("capacitance", "470 uF"),
        Key("voltage", "16 V"),
        Key("lead spacing", "5 mm"),
        Key("size", "10 x 16 mm"),
    ),
    "o-ring": (Key("inside diameter", "18 mm"), Key("section", "round 2 mm")),
    "tyre": (Key("inside diameter", "20 mm"), Key("width", "3 mm"), Key("thickness", "2 mm")),
    "pinch roller": (_DIAMETER._replace(example="11 mm"), Key("width", "8 mm"), Key("bore", "2 mm")),
    "head": (Key("tracks", "4"), Key("resistance", "350 Ohm"), Key("mounting", "two holes, 17 mm apart")),
    "motor": (_VOLTAGE, Key("speed", "2400 rpm"), Key("direction", "clockwise"), Key("shaft", "2 mm")),
    "aerial": (Key("closed", "190 mm"), Key("extended", "960 mm"), Key("foot", "M3")),
    "transformer": (
        Key("primary", "240 V 50 Hz"),
        Key("secondary", "12 V"),
        Key("power", "15 VA"),
        Key("size", "48 x 40 x 42 mm"),
    ),
}
"""Kind of part -> what else is read off one of it, before what every part has."""
_EVERY_PART = (Key("size", "30 x 12 x 4 mm"), Key("material", "ABS"), Key("colour", "black"))
"""What is read off a part of a kind that is not listed."""
_PARTS = {fold(kind): keys for kind, keys in PARTS.items()}


def of_kind(kind: str) -> tuple[Key, ...]:
    """The keys of a kind of entry, those of the kinds of parts left out."""
    if kind in FACTS:
        return (*FACTS[kind], *EVIDENCE)
    said = [key for key in (SOURCE._replace(asked=False), VIA) if key.name != kind]
    return (*THINGS[kind], CALLED, *said, CORRECTS)


def of_part(sort: str, compared: tuple[str, ...] = ()) -> tuple[Key, ...]:
    """What is read off a part of a kind; `compared` are further keys by which the folder compares it."""
    keys = _PARTS.get(fold(sort), _EVERY_PART)
    known = {fold(key.name) for key in keys}
    return (*keys, *(Key(name, "", "compared by size") for name in compared if fold(name) not in known))


def several(kind: str) -> frozenset[str]:
    """The keys of a kind of entry that may have several values."""
    return frozenset(key.name for key in of_kind(kind) if key.many)
