"""The list of belts, and what the box for a measured belt reads beside it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from kgraph.belt_sizes import Section
from kgraph.belts import identify
from kgraph.belts.recorded import belt_of
from kgraph.belts.runs import Belt
from kgraph.book.addresses import Ref
from kgraph.book.ground import BookGround
from kgraph.book.lists import Listing, listing
from kgraph.collection import Collection
from kgraph.questions import belt_places
from kgraph.render.terminal import visible

DATA = "belts.js"
SCRIPT = "measured.js"
MOST_SETS = 6
"""So many sets are named in a line of the list of belts; the rest are counted."""

LINES_OF_A_BELT = 5
"""So many lines of other lists one belt is as long as."""


@dataclass(frozen=True, slots=True)
class BeltLine:
    """One belt in the list of belts."""

    ref: Ref
    section: str
    length_mm: float | None
    numbers: str
    sets: tuple[Ref, ...] = ()
    more: int = 0


def belts_list(g: BookGround) -> Listing:
    """Belts by their section and length; those of which a size is not recorded last."""
    rows = [_line(g, key, ref) for key, ref in g.all_of("part") if belt_places.is_belt(g.data, key)]
    rows.sort(key=lambda r: (not r.section, r.section, r.length_mm or 0.0, r.ref.name.casefold(), r.ref.href))
    groups: dict[str, list[BeltLine]] = {}
    for row in rows:
        groups.setdefault(row.section or "size not recorded", []).append(row)
    return listing("Belts", [(name, "", found) for name, found in groups.items()], LINES_OF_A_BELT)


def _line(g: BookGround, key: str, ref: Ref) -> BeltLine:
    belt = belt_of(g.data, key)
    sets = sets_with(g, key)
    return BeltLine(
        ref,
        section_text(belt.section) if belt else "",
        belt.inside_length_mm if belt else None,
        g.numbers(key),
        tuple(sets[:MOST_SETS]),
        max(0, len(sets) - MOST_SETS),
    )


def sets_with(g: BookGround, part: str) -> list[Ref]:
    """The sets that have a part, by what is recorded and by what is alike."""
    owners = {o for place, _, _ in g.graph.takes_of.get(part, ()) for o, _ in g.graph.alike_places(place)}
    return sorted(
        (g.views.owner(o) for o in owners if o[0] == "s"), key=lambda r: (r.name.casefold(), r.href)
    )


def section_text(section: Section) -> str:
    """A section in words."""
    return f"{section.form} {' x '.join(f'{size:.4g}' for size in section.sizes_mm)} mm"


def size_text(data: Collection, part: str) -> str:
    """Section and inside length of a belt on one line; "" where they are not recorded."""
    belt = belt_of(data, part)
    return f"{section_text(belt.section)}, inside length {belt.inside_length_mm:.1f} mm" if belt else ""


def belts_script(g: BookGround) -> bytes:
    """What the sum of `belt find` needs, as a script that hands it over; letters alone, whatever names hold.

    One row for each article, in the order of its key, which decides between equal probabilities:
    [form, sizes, error of the section, inside length, its error, names, addresses, sets, number of sets].
    """
    belts = belt_places.all_belts(g.graph)
    articles = sorted(belt_places.articles_of(g.graph, belts).items())
    rows = [_article(g, belts[first], parts) for first, parts in articles]
    scale = {
        "sections": identify.SECTION_RANGE_MM,
        "lengths": identify.LENGTH_RANGE_MM,
        "growth": identify.GROWTH,
        "sectionError": identify.SECTION_ERROR_MM,
        "lengthError": identify.LENGTH_ERROR,
    }
    lines = ",\n".join(_letters(row) for row in rows)
    return f"bookBelts({_letters(scale)},[\n{lines}\n]);\n".encode("ascii")


def _article(g: BookGround, belt: Belt, parts: tuple[str, ...]) -> list[Any]:
    refs = [g.views.ref("part", part) for part in parts]
    sets = list(dict.fromkeys(ref for part in parts for ref in sets_with(g, part)))
    return [
        belt.section.form,
        belt.section.sizes_mm,
        belt.section.error_mm,
        belt.inside_length_mm,
        belt.length_error_mm,
        *_named(refs),
        *_named(sets[:MOST_SETS]),
        len(sets),
    ]


def _named(refs: Iterable[Ref]) -> tuple[list[str], list[str]]:
    refs = list(refs)
    return [visible(ref.name) for ref in refs], [ref.href for ref in refs]


def _letters(value: Any) -> str:
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")
