"""The family of a set: one design under its badges, years in columns, what differs at each line."""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict, deque
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from collections.abc import Collection as Group
from dataclasses import dataclass, replace

from kgraph import contradictions, records
from kgraph.claims import RefusesClaim
from kgraph.collection import Collection
from kgraph.collection.resolving import exception_key
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.names import compared, fold
from kgraph.problems import Problem, WrongUse
from kgraph.render.pictures import sheet
from kgraph.render.pictures.columns import columns_of
from kgraph.render.pictures.sets import badge_of, looks, set_lines, year_of
from kgraph.render.pictures.sheet import MOST_BOXES, Box, Edge, count
from kgraph.render.sentences import says
from kgraph.render.terminal import visible

NAMES_SHOWN = 6
"""So many differing positions are written at a line; the rest are counted (all are in its tooltip)."""

MOST_REFUSALS = 40
EARLIEST = "the earliest year recorded"
"""Why a set is taken to be the first, where no builder is named."""

Joined = dict[str, list[tuple[str, Fact]]]


@dataclass(frozen=True, slots=True)
class _Member:
    """What one box stands for: a set, or several folded into one."""

    key: str
    sets: tuple[str, ...]
    badge: str
    year: int | None
    last: int | None = None


def family(
    data: Collection,
    graph: Graph,
    set_key: str,
    *,
    title: str | None = None,
    links: Mapping[str, str] | None = None,
    only: Group[str] | None = None,
    notes: Sequence[str] = (),
    disputes: bool = True,
) -> str:
    """DOT text of the rebadge family of a set: every set that `rebadge` facts join to it.

    `set_key` is a folded name (an `also` name serves); `only` are the owner keys of the sisters to be
    drawn, all of them by default; `links` gives owner keys a relative URL; `notes` stand first below the
    title; without `disputes` nobody looks for what is disputed. The same data give the same text. Past
    MOST_BOXES sets are folded, by badge and year. Raises WrongUse for a set not known.
    """
    start = data.key("set", set_key)
    if start not in data.spelt.get("set", ()) and start not in data.things["set"]:
        raise WrongUse(Problem(None, "unknown-set", f"there is no set {visible(set_key)}", "see `find`"))
    keys, facts = _members(graph, start, only)
    root, why = _root(data, keys)
    members, rule = _folded([_member(data, k) for k in keys], {start, root})
    whole = len(members) == len(keys)
    disputed = disputed_facts(graph, facts) if whole and disputes else None
    lines, left_out = _lines(data, members, facts, root or start, disputed or set())
    columns = columns_of({m.key: m.year for m in members})
    number = {key: n for n, (_, keys) in enumerate(columns) for key in keys}
    named = title or f"{data.text('set', start)} and its rebadges: {count(len(keys), 'set')}"
    drawn = sheet.Drawing(
        "family",
        named,
        _boxes(data, members, start, (root, why), links or {}),
        tuple(_turned(line, number) for line in lines),
        _legend(why, whole, any(line.disputed for line in lines)),
        (*notes, *_notes(members, keys, rule, left_out, disputed is None)),
        _says(data, keys, facts, (root, why)),
        columns,
        words_on_lines=True,
    )
    return sheet.source(drawn)


def _members(graph: Graph, start: str, only: Group[str] | None) -> tuple[list[str], list[Fact]]:
    """The keys of the family, sorted, and the rebadge facts between them by id."""
    seen, facts = {start}, {}
    queue = deque([start])
    while queue:
        for link in graph.links.get(f"s:{queue.popleft()}", ()):
            other = link.other[2:]
            if link.fact.kind != "rebadge" or (
                only is not None and other != start and link.other not in only
            ):
                continue
            facts[link.fact.id] = link.fact
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return sorted(seen), [facts[i] for i in sorted(facts)]


# --- Where the design comes from -----------------------------------------------------------------


def _root(data: Collection, keys: Sequence[str]) -> tuple[str, str]:
    """The set that the family comes from, and why it is taken to be; ("", "") where nothing says so.

    Of two that have as much to say for it neither is taken: the order of their names says nothing.
    """
    builders = {k: {b for v in data.attribute("set", k, "builder") if (b := _key_of(data, v))} for k in keys}
    own = [k for k in keys if builders[k] & {k, fold(badge_of(data, k))}]
    if own:
        return (own[0], "built by its own badge") if len(own) == 1 else ("", "")
    named = Counter(b for found in builders.values() for b in found if b in builders)
    if named:
        most, times = named.most_common(1)[0]
        alone = list(named.values()).count(times) == 1
        return (most, f"named as builder by {count(times, 'set')}") if alone else ("", "")
    dated = sorted((year, k) for k in keys if (year := year_of(data, k)))
    alone = len(dated) > 0 and [year for year, _ in dated].count(dated[0][0]) == 1
    return (dated[0][1], EARLIEST) if alone else ("", "")


def _key_of(data: Collection, value: records.Value) -> str:
    return data.key("set", fold(value)) if isinstance(value, str) else ""


# --- Boxes ---------------------------------------------------------------------------------------


def _member(data: Collection, key: str) -> _Member:
    year = year_of(data, key)
    return _Member(key, (key,), badge_of(data, key), year, year)


def _folded(members: list[_Member], alone: set[str]) -> tuple[list[_Member], str]:
    """The members, past MOST_BOXES folded by the finest rule that makes few enough boxes; the rule."""
    if len(members) <= MOST_BOXES:
        return members, ""
    kept = [m for m in members if m.key in alone]
    rest = [m for m in members if m.key not in alone]
    room = MOST_BOXES - len(kept)
    says, groups = "badge", _grouped(rest, lambda m: _fold(m.badge))
    for span, by in ((1, "badge and year"), (2, "badge and 2 years"), (3, "badge and 3 years")):
        finer = _grouped(rest, _by_badge_and(span))
        if len(finer) <= room:
            says, groups = by, finer
            break
    groups.sort(key=lambda g: (-len(g), g[0].key))
    made = [_group(g, g[0].badge) for g in groups[: room if len(groups) <= room else room - 1]]
    if others := [m for g in groups[len(made) :] for m in g]:
        made.append(_group(others, f"{len(groups) - len(made)} other badges"))
    return sorted([*kept, *made], key=lambda m: m.key), says


def _by_badge_and(span: int) -> Callable[[_Member], object]:
    return lambda m: (_fold(m.badge), m.year and m.year // span)


def _fold(badge: str) -> str:
    return compared(badge)


def _grouped(members: Iterable[_Member], rule: Callable[[_Member], object]) -> list[list[_Member]]:
    groups: dict[object, list[_Member]] = defaultdict(list)
    for member in members:
        groups[rule(member)].append(member)
    return list(groups.values())


def _group(members: list[_Member], badge: str) -> _Member:
    if len(members) == 1:
        return members[0]
    years = sorted(m.year for m in members if m.year)
    sets = tuple(m.key for m in members)
    return _Member(sets[0], sets, badge, years[0] if years else None, years[-1] if years else None)


def _boxes(
    data: Collection, members: list[_Member], start: str, root: tuple[str, str], links: Mapping[str, str]
) -> tuple[Box, ...]:
    look = looks(m.badge for m in members)
    made = []
    for member in members:
        shape, colour = look[_fold(member.badge)]
        box = _group_box(data, member) if len(member.sets) > 1 else _set_box(data, member, root)
        link = links.get(f"s:{member.key}", "") if len(member.sets) == 1 else ""
        made.append(replace(box, shape=shape, colour=colour, asked=member.key == start, link=link))
    return tuple(made)


def _set_box(data: Collection, member: _Member, root: tuple[str, str]) -> Box:
    why = root[1] if member.key == root[0] else ""
    lines = (*set_lines(data, member.key), *([f"({why})"] if why else []))
    tip = data.text("set", member.key) + (f", {why}" if why else "")
    return Box(member.key, lines, tip, "set", double=bool(why))


def _group_box(data: Collection, member: _Member) -> Box:
    names = [data.text("set", k) for k in member.sets]
    models = [_model(name, member.badge) for name in names]
    span = "-".join(str(y) for y in sorted({member.year, member.last} - {None}, key=str))
    head = f"{count(len(names), 'set')} in one" + (f", {span}" if span else "")
    lines = (*sheet.pieces(member.badge), head, *sheet.wrapped(sheet.listed(models, 3), 24))
    return Box(member.key, lines, ", ".join(names), "group")


def _model(name: str, badge: str) -> str:
    rest = name.removeprefix(badge).strip()
    return rest or name


# --- Lines ---------------------------------------------------------------------------------------


def _lines(
    data: Collection, members: list[_Member], facts: list[Fact], root: str, disputed: Set[str]
) -> tuple[list[Edge], int]:
    """The lines, and how many stated rebadges between boxes are not drawn."""
    holder = {key: m.key for m in members for key in m.sets}
    folded = len(holder) > len(members)
    between: dict[tuple[str, str, str], list[Fact]] = defaultdict(list)
    for fact in facts:
        one, other = sorted(holder[owner[2:]] for owner in fact.claim[:2])
        if one != other:
            # Folded boxes are joined by one line for all their facts, sets by one for each.
            between[one, other, "" if folded else fact.id].append(fact)
    found = [_line(data, (k[0], k[1]), tuple(v), disputed) for k, v in sorted(between.items())]
    if len(found) <= 1.3 * len(members) + 5:
        return found, 0
    kept = _surest(found, holder[root])
    drawn = {line.ends for line in kept}
    return kept, sum(len(v) for k, v in between.items() if k[:2] not in drawn)


def _surest(lines: list[Edge], root: str) -> list[Edge]:
    """Of too many lines to follow, the surest to each box, from the root outwards."""
    at: dict[str, list[Edge]] = defaultdict(list)
    for line in lines:
        for end in line.ends:
            at[end].append(line)
    seen: set[str] = set()
    kept: list[Edge] = []
    for start in [root, *sorted(at)]:
        queue: list[tuple[float, tuple[str, str], str, Edge | None]] = [(0.0, ("", ""), start, None)]
        while queue:
            _, _, end, by = heapq.heappop(queue)
            if end in seen:
                continue
            seen.add(end)
            kept += [by] if by else []
            for line in at[end]:
                other = line.ends[1] if line.ends[0] == end else line.ends[0]
                if other not in seen:
                    heapq.heappush(queue, (-(line.certainty or 0.0), line.ends, other, line))
    return kept


def _line(data: Collection, ends: tuple[str, str], facts: tuple[Fact, ...], disputed: Set[str]) -> Edge:
    # Of several facts on one line the weakest is drawn: a line must not look surer than it is.
    certainty = min(f.certainty for f in facts)
    differs = sorted({name for f in facts for name in _exceptions(data, f)})
    against = any(f.id in disputed for f in facts)
    several = len(facts) > 1
    words = [f"{len(facts)} rebadges"] if several else []
    words += ["disputed"] if against else []
    words += sheet.wrapped(sheet.listed(differs, 3 if several else NAMES_SHOWN))
    tip = f"rebadge, certainty {certainty:.4g}" + (f", except {', '.join(differs)}" if differs else "")
    tip = "disputed: " + tip if against else tip
    supposed = any(f.where and f.where.file == "--suppose" for f in facts)
    words += ["supposed"] if supposed else []
    return Edge(ends, tuple(words), tip, certainty, disputed=against)


def _exceptions(data: Collection, fact: Fact) -> list[str]:
    """The names of what two sets differ in: as the position is declared, else as written."""
    if not isinstance(fact.record, records.Rebadge):
        return list(fact.left_out)
    written = {exception_key(data, n): n.text for n in fact.record.exceptions}
    text = data.text
    return [
        text("position", k) if data.declared("position", k) else written.get(k, text("position", k))
        for k in fact.left_out
    ]


def disputed_facts(graph: Graph, facts: list[Fact]) -> set[str] | None:
    """The ids of those rebadge facts that stand in a contradiction about the family itself.

    Looked at are the refusals at a place of the family or of an assembly that it is built on; None where
    there are more than MOST_REFUSALS of them, for each costs a question.
    """
    owners = {owner for f in facts for owner in f.claim[:2]}
    owners |= {link.other for o in owners for link in graph.links.get(o, ()) if link.to_assembly}
    known = graph.data.facts
    near = {i for i, f in known.items() if isinstance(f.claim, RefusesClaim) and f.claim.owner in owners}
    if not near:
        return set()
    if len(near) > MOST_REFUSALS:
        return None
    kept = (f for i, f in known.items() if f.kind != "refuses" or i in near)
    conflicts = contradictions.of_folder(graphs.with_facts(graph, kept))
    if conflicts.not_looked_at:
        return None
    wanted = {f.id for f in facts}
    return {f.id for conflict in conflicts.found for f in conflict.facts} & wanted


# --- Words ---------------------------------------------------------------------------------------


def _turned(line: Edge, column: Mapping[str, int]) -> Edge:
    """The line from its left end to its right one."""
    one, other = sorted(line.ends, key=lambda end: (column.get(end, 0), end))
    return replace(line, ends=(one, other))


def _legend(why: str, whole: bool, disputed: bool) -> tuple[str, ...]:
    what = "a stated rebadge" if whole else "the stated rebadges between two boxes, the least certain of them"
    return (
        f"line: {what}; words on it: what differs; its certainty: {sheet.styles_in_words()}",
        *(["double line, 'disputed': it is part of a contradiction, see `kgraph check`"] if disputed else []),
        "shape and colour: one for each badge; grey: the set asked about"
        + (f"; double outline: {why if why == EARLIEST else 'where the design comes from'}" if why else ""),
        sheet.SCALE,
    )


def _notes(
    members: list[_Member], keys: Sequence[str], rule: str, left_out: int, unmarked: bool
) -> Iterable[str]:
    if rule:
        folded = [len(m.sets) for m in members if len(m.sets) > 1]
        boxes = "1 box" if len(folded) == 1 else f"{len(folded)} boxes"
        yield f"{sum(folded):,} of the {len(keys):,} sets are folded into {boxes} by {rule}"
    if left_out:
        more = count(left_out, "more stated rebadge")
        yield f"only the surest way to each box is drawn; {more} between boxes not drawn"
    if unmarked:
        yield "too much to look for what is disputed: nothing is marked so here; `kgraph check` tells"


def _says(data: Collection, keys: Sequence[str], facts: Sequence[Fact], root: tuple[str, str]) -> str:
    """The picture in words, for who cannot see it: as much as a reader will hear out."""
    text = f"{count(len(keys), 'set')} joined by {count(len(facts), 'stated rebadge fact')}."
    if root[0]:
        first = "Of the earliest year recorded is" if root[1] == EARLIEST else "The design comes from"
        text += f" {first} {data.text('set', root[0])}" + ("." if root[1] == EARLIEST else f": {root[1]}.")
    told = [f"{says(data, f)} (certainty {f.certainty:.4g})" for f in facts[:20]]
    return text + "".join(f" {t}." for t in told) + (" And more." if len(facts) > 20 else "")
