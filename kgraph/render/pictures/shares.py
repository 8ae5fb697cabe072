"""A set against the chassis, mechanisms and boards that it is built on, and the sets that share them.

Sets that share the same assemblies stand in one box, by name: a line for each set and each assembly
would be a tangle that nobody can follow.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence

from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.questions import Answer, Row
from kgraph.render.answers import assembly_sort, percent
from kgraph.render.pictures import sheet
from kgraph.render.pictures.sets import set_lines
from kgraph.render.pictures.sheet import BLUE, GREEN, MOST_BOXES, Box, Edge, count
from kgraph.render.sentences import says

MOST_GROUPS = 14
NAMES_OF_MANY = 5
"""So many names stand in a box where the sets are more than can be read; else all of them."""


def shares(
    data: Collection,
    set_key: str,
    answer: Answer,
    *,
    title: str | None = None,
    links: Mapping[str, str] | None = None,
    notes: Sequence[str] = (),
) -> str:
    """DOT text of an answer of `shares`: the set, what it is built on, and who shares which of it.

    `set_key` is the key of the set asked about. Rarer mixtures past MOST_GROUPS share a box. `notes` stand
    first below the title. The same answer gives the same text.
    """
    to = links or {}
    assemblies = sorted({row.assembly for row in answer.rows}, key=lambda a: (data.owner_text(a), a))
    sharing = _sharing(answer.rows)
    groups = _groups(data, sharing)
    asked = f"s:{set_key}"
    built_in = Counter(row.assembly for row in answer.rows)
    boxes = [_asked_box(data, set_key, to), *(_assembly_box(data, a, built_in[a], to) for a in assemblies)]
    most = MOST_BOXES if len(sharing) <= MOST_BOXES else NAMES_OF_MANY
    named = {f"group {i}": group for i, group in enumerate(groups, 1)}
    boxes += [
        _group_box(data, name, sets, most, to, what or _mixture(data, sharing[sets[0]], len(assemblies)))
        for name, (what, sets) in named.items()
    ]
    lines = _built_on(data, asked, answer.rows, assemblies)
    lines += [line for name, (_, sets) in named.items() for line in _group_lines(name, sets, sharing)]
    drawn = sheet.Drawing(
        "shares",
        title
        or f"{data.text('set', set_key)} shares {_counted(assemblies)} with {count(len(sharing), 'set')}",
        tuple(boxes),
        tuple(lines),
        _legend(),
        (*notes, *_notes(named, sharing, most, answer)),
        _told(data, assemblies, answer.rows),
    )
    return sheet.source(drawn)


def _counted(assemblies: Sequence[str]) -> str:
    return "1 assembly" if len(assemblies) == 1 else f"{len(assemblies)} assemblies"


def _sharing(rows: Iterable[Row]) -> dict[str, dict[str, Row]]:
    """Set -> assembly -> the row that says so."""
    found: dict[str, dict[str, Row]] = defaultdict(dict)
    for row in rows:
        found[row.set][row.assembly] = row
    return dict(found)


def _groups(data: Collection, sharing: Mapping[str, Mapping[str, Row]]) -> list[tuple[str, list[str]]]:
    """("" or what the box is called, its sets): those that share the same assemblies, the largest first."""
    by_mix: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for one in sorted(sharing, key=lambda s: (data.owner_text(s), s)):
        by_mix[tuple(sorted(sharing[one]))].append(one)
    ordered = sorted(by_mix.items(), key=lambda item: (-len(item[0]), -len(item[1]), item[0]))
    if len(ordered) <= MOST_GROUPS:
        return [("", sets) for _, sets in ordered]
    ordered.sort(key=lambda item: (-len(item[1]), item[0]))
    rest = [s for _, sets in ordered[MOST_GROUPS - 1 :] for s in sets]
    return [*(("", sets) for _, sets in ordered[: MOST_GROUPS - 1]), ("other mixtures", rest)]


def _asked_box(data: Collection, set_key: str, links: Mapping[str, str]) -> Box:
    lines, name, key = set_lines(data, set_key), data.text("set", set_key), f"s:{set_key}"
    return Box(key, lines, name, "set", "box", BLUE, asked=True, link=links.get(key, ""))


def _assembly_box(data: Collection, assembly: str, sets: int, links: Mapping[str, str]) -> Box:
    name, sort = data.owner_text(assembly), assembly_sort(data, assembly)
    lines = [
        *sheet.pieces(name),
        *([f"({sheet.short(sort)})"] if sort else []),
        f"in {count(sets, 'other set')}",
    ]
    return Box(assembly, tuple(lines), name, "assembly", "component", GREEN, link=links.get(assembly, ""))


def _mixture(data: Collection, shared: Iterable[str], all_of_them: int) -> str:
    names = sorted(data.owner_text(a) for a in shared)
    if len(names) == all_of_them > 1:
        return f"all {all_of_them}"
    return sheet.listed(names, 4)


def _group_box(
    data: Collection, name: str, sets: Sequence[str], most: int, links: Mapping[str, str], what: str
) -> Box:
    names = [data.owner_text(s) for s in sets]
    if len(names) == 1:
        return Box(
            name, tuple(sheet.pieces(names[0])), names[0], "set", link=links.get(sets[0], ""), colour=BLUE
        )
    shown = [piece for n in names[:most] for piece in sheet.pieces(n)]
    more = [f"+ {len(names) - most:,} more"] if len(names) > most else []
    lines = (*sheet.wrapped(f"{count(len(names), 'set')} share {what}:", 36), *shown, *more)
    return Box(name, lines, ", ".join(names), "group", "folder", BLUE, left=True)


def _group_lines(name: str, sets: Sequence[str], sharing: Mapping[str, Mapping[str, Row]]) -> Iterable[Edge]:
    for assembly in sorted({a for s in sets for a in sharing[s]}):
        found = [sharing[s][assembly].certainty for s in sets if assembly in sharing[s]]
        low, high = percent(min(found)), percent(max(found))
        words = [*([f"{len(found):,} of them"] if len(found) < len(sets) else [])]
        words.append(low if low == high else f"{low} to {high}")
        yield Edge((assembly, name), tuple(words), "shared, " + ", ".join(words), min(found))


def _built_on(data: Collection, start: str, rows: Sequence[Row], assemblies: Sequence[str]) -> list[Edge]:
    """One line from the set to each assembly, along the surest of the proofs."""
    lines = []
    for assembly in assemblies:
        ways = (_way(start, assembly, row.proof) for row in rows if row.assembly == assembly)
        way = max(ways, key=lambda w: (math.prod(f.certainty for f in w), [f.id for f in w]))
        certainty = math.prod(f.certainty for f in way)
        through = [data.owner_text(o) for f, o in _ends(start, way) if o != assembly]
        words = [
            percent(certainty),
            *(sheet.wrapped(f"through {sheet.listed(through, 3)}") if through else []),
        ]
        tip = "; ".join(says(data, f) for f in way)
        lines.append(Edge((start, assembly), tuple(words), tip, certainty))
    return lines


def _far_end(fact: Fact, owner: str) -> str:
    one, other = fact.claim[:2]
    return str(other if owner == one else one if owner == other else "")


def _way(start: str, target: str, proof: Sequence[Fact]) -> tuple[Fact, ...]:
    """The facts of a proof that lead from the set to the assembly."""
    came: dict[str, tuple[Fact, ...]] = {start: ()}
    queue = deque([start])
    while queue and target not in came:
        at = queue.popleft()
        for fact in proof:
            other = _far_end(fact, at)
            if other and other not in came:
                came[other] = (*came[at], fact)
                queue.append(other)
    return came.get(target, ())


def _ends(start: str, way: Sequence[Fact]) -> Iterable[tuple[Fact, str]]:
    at = start
    for fact in way:
        at = _far_end(fact, at)
        yield fact, at


def _legend() -> tuple[str, ...]:
    return (
        f"line: is built on; its certainty, of several sets the lowest: {sheet.styles_in_words()}",
        "grey: the set asked about; box with two lugs: an assembly; folder: the sets that share the same "
        "assemblies; the certainty at its lines is that they share it with the set asked about",
        sheet.SCALE,
    )


def _notes(
    named: Mapping[str, tuple[str, list[str]]], sharing: Mapping[str, object], most: int, answer: Answer
) -> Iterable[str]:
    if answer.less:
        yield answer.less
    folded = sum(max(0, len(sets) - most) for _, sets in named.values())
    if folded:
        yield f"{folded:,} of the {len(sharing):,} sets are counted in their box and not named"
    for what, sets in named.values():
        if what:
            yield f"{count(len(sets), 'set')} with rarer mixtures share one box"
    yield from (note for note in answer.notes if "shared with no other" in note)


def _told(data: Collection, assemblies: Sequence[str], rows: Sequence[Row]) -> str:
    told = []
    for assembly in assemblies[:20]:
        names = [data.owner_text(r.set) for r in rows if r.assembly == assembly]
        told.append(f"{data.owner_text(assembly)}: with {sheet.listed(names, 8)}")
    return "; ".join(told)
