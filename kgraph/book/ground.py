"""What many pages of a book share: the facts, the address of each thing, families, and lists of answers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from kgraph import questions, records
from kgraph.book.addresses import Ref, page_path, refs_of, slug
from kgraph.book.answering import Answering, Cited, depth_of
from kgraph.book.lists import Listing, listing
from kgraph.book.views import Views
from kgraph.collection import Collection
from kgraph.collection.resolving import names_used
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import compared
from kgraph.questions import Wanted
from kgraph.reason.budget import SECONDS
from kgraph.render.values import value_text
from kgraph.shelf import ledger

Draw = Callable[[Mapping[str, Mapping[str, str]]], Mapping[str, bytes]]
"""Set key -> owner key -> address: the SVG pictures of their families, less those that cannot be drawn."""
DRAWN_AT_ONCE = 10
"""So many families that follow each other are drawn together."""


@dataclass(frozen=True, slots=True)
class BookWishes:
    """Title, time for weighing, fact folders (files are named from there), and faults met on reading."""

    title: str = "Which sets give which part"
    seconds: float = SECONDS
    folders: tuple[str, ...] = ()
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class Listed:
    """A set in a list: its page, and three of its recorded values."""

    ref: Ref
    years: str
    market: str
    mains: str


@dataclass
class BookGround:
    """The facts of a folder, made ready for pages. Built once, then only read."""

    graph: Graph
    wishes: BookWishes
    draw: Draw | None = None
    thumbnails: Mapping[str, bytes] = field(default_factory=dict)
    """Path of a photograph -> what pages show of it."""
    refs: dict[tuple[str, str], Ref] = field(init=False)
    views: Views = field(init=False)
    _drawn: tuple[int, Mapping[str, bytes]] = (-1, MappingProxyType({}))
    """The number of the families that were drawn last, and their pictures."""

    def __post_init__(self) -> None:
        self.refs = refs_of(self.data)
        for family in self.families:
            key = family[0]
            name = f"Family of {self.data.text('set', key)}"
            self.refs["family", key] = Ref(name, page_path("family", key, name), "family")
        for key in sorted(self.units_of):
            if ("set", key) in self.refs:
                name = f"Before opening: {self.data.text('set', key)}"
                self.refs["arrival", key] = Ref(name, page_path("arrival", key, name), "arrival")
        self.views = Views(self.graph, self.refs, self.wishes.folders, frozenset(self.thumbnails))

    @property
    def data(self) -> Collection:
        return self.graph.data

    def all_of(self, kind: str) -> list[tuple[str, Ref]]:
        """(key, page) of every thing of a kind, or of every family."""
        return self._by_kind.get(kind, [])

    @cached_property
    def _by_kind(self) -> Mapping[str, list[tuple[str, Ref]]]:
        found: dict[str, list[tuple[str, Ref]]] = defaultdict(list)
        for (kind, key), ref in self.refs.items():
            found[kind].append((key, ref))
        return found

    # Facts and answers

    @cached_property
    def mentions(self) -> dict[tuple[str, str], list[records.Entry]]:
        """(kind, key) -> the entries that name a thing."""
        found: dict[tuple[str, str], list[records.Entry]] = defaultdict(list)
        for entry in self.data.standing:
            for kind, name in dict.fromkeys(names_used(self.data, entry)):
                found[kind, self.data.key(kind, name.key)].append(entry)
        return found

    @cached_property
    def _fact_at(self) -> dict[int, Fact]:
        gone = (fact for fact, _ in self.data.withdrawn.values())
        return {id(e.where): f for f in (*self.data.facts.values(), *gone) for e in f.evidence}

    def facts_of(self, kind: str, key: str) -> list[Fact]:
        """The facts that name a thing, in the order in which they were read, withdrawn ones too."""
        mentions = self.mentions.get((kind, key), ())
        found = {f.id: f for e in mentions if (f := self._fact_at.get(id(e.where)))}
        return list(found.values())

    def cited(self, kind: str, key: str) -> Cited:
        """The facts of the page of a thing, to be cited by number."""
        return Cited(self.views, self.facts_of(kind, key), self.answering.depth.why)

    @cached_property
    def answering(self) -> Answering:
        """Asks what pages tell."""
        depth = depth_of(sum(map(len, self.places_of.values())))
        wanted = Wanted(refused_too=True, seconds=self.wishes.seconds)
        return Answering(self.graph, self.views, depth, wanted)

    def part_cautions(self, owner: str, position: str) -> list[str]:
        """The cautions of the kinds of parts that are recorded at a place and at those like it."""
        places = self.graph.alike_places(Place(owner, position))
        return self.cautions_of(part for p in places for part, _, _ in self.graph.taken_at.get(p, ()))

    def cautions_of(self, parts: Iterable[str]) -> list[str]:
        """The cautions of the kinds of these parts."""
        known = sorted(set(parts))
        return [text for part in known for text in questions.part_cautions(self.data, part).values()]

    # Sets and families

    @cached_property
    def families(self) -> list[tuple[str, ...]]:
        """The sets that rebadge facts join, the earliest first in each; families of one are left out."""
        seen: set[str] = set()
        found: list[tuple[str, ...]] = []
        for key in sorted(self.data.known("set")):
            members = set() if key in seen else self._joined(key)
            seen |= members
            if len(members) > 1:
                found.append(tuple(sorted(members, key=lambda k: (self.year(k), k))))
        return sorted(found, key=lambda f: self.data.text("set", f[0]).casefold())

    def _joined(self, key: str) -> set[str]:
        members, todo = {key}, [key]
        while todo:
            for link in self.graph.links.get(f"s:{todo.pop()}", ()):
                if not link.to_assembly and link.other[2:] not in members:
                    members.add(link.other[2:])
                    todo.append(link.other[2:])
        return members

    @cached_property
    def family_of(self) -> dict[str, tuple[str, ...]]:
        """Set -> its family."""
        return {key: family for family in self.families for key in family}

    def picture(self, key: str) -> bytes | None:
        """The picture of the family of which a set is the first, as SVG; None where there is none."""
        if self.draw is None:
            return None
        together = self._family_number[key] // DRAWN_AT_ONCE
        if self._drawn[0] != together:
            first = together * DRAWN_AT_ONCE
            asked = {f[0]: self.family_links(f) for f in self.families[first : first + DRAWN_AT_ONCE]}
            self._drawn = together, self.draw(asked)
        return self._drawn[1].get(key)

    def family_links(self, family: tuple[str, ...]) -> dict[str, str]:
        """Owner key -> page, for the sets of a family, from a page in a folder of the book."""
        return {f"s:{k}": f"../{self.refs['set', k].href}" for k in family}

    @cached_property
    def _family_number(self) -> dict[str, int]:
        return {family[0]: number for number, family in enumerate(self.families)}

    def year(self, key: str) -> str:
        """The years recorded for a set, to sort by: a set without any comes last."""
        years = self.data.attribute("set", key, "years")
        return min((v for v in years if isinstance(v, str)), default="~")

    def badge(self, key: str) -> str:
        """The badge that is said of a set; else the shortest of the folder that its name begins with.

        So of Brakelund 45 and Brakelund B 210 both stand under Brakelund.
        """
        if said := self._said_badge(key):
            return said
        words = self.data.text("set", key).split()
        begins = (" ".join(words[:n]) for n in range(1, len(words)))
        return next((b for b in begins if compared(b) in self._badges), " ".join(words[:-1] or words))

    def _said_badge(self, key: str) -> str:
        entries = (e for e in self.data.things["set"].get(key, ()) if isinstance(e, records.SetModel))
        return next((e.badge for e in entries if e.states("badge")), "")

    @cached_property
    def _badges(self) -> set[str]:
        """What names are before their last word, and the badges that are said."""
        names = self.data.known("set")
        before_last = (" ".join(text.split()[:-1]) for text in names.values())
        return {compared(b) for b in (*before_last, *map(self._said_badge, names)) if b}

    @cached_property
    def badges(self) -> Listing:
        """All sets by their badge."""
        names: dict[str, str] = {}
        by_badge: dict[str, list[Listed]] = defaultdict(list)
        for key in self.data.known("set"):
            badge = self.badge(key)
            names.setdefault(compared(badge), badge)
            by_badge[compared(badge)].append(self.listed(key))
        ordered = sorted(by_badge.items(), key=lambda i: (names[i[0]].casefold(), i[0]))
        return listing(
            "Sets",
            [
                (names[b], anchor(names[b]), sorted(rows, key=lambda r: (r.ref.name.casefold(), r.ref.href)))
                for b, rows in ordered
            ],
        )

    def badge_page(self, badge: str) -> str:
        """Where the sets of a badge are listed."""
        here = anchor(badge)
        return self.badges.where.get(here) or f"index.html#{here}"

    def listed(self, key: str) -> Listed:
        """A set as it stands in lists."""
        years, market, mains = (
            " / ".join(dict.fromkeys(map(value_text, self.data.attribute("set", key, a))))
            for a in ("years", "market", "mains")
        )
        return Listed(self.views.ref("set", key), years, market, mains)

    @cached_property
    def places_of(self) -> dict[str, list[str]]:
        """Set -> the positions at which anything is known of it, by their names."""
        return {
            key: sorted(questions.places_of(self.graph, key), key=lambda p: self.name("position", p))
            for key in sorted(self.data.known("set"), key=lambda k: self.name("set", k))
        }

    @cached_property
    def sets_at(self) -> dict[str, list[str]]:
        """Position -> the sets of which anything is known there."""
        found: dict[str, list[str]] = defaultdict(list)
        for key, positions in self.places_of.items():
            for position in positions:
                found[position].append(key)
        return found

    @cached_property
    def taken_at_position(self) -> dict[str, list[Place]]:
        """Position -> the places there at which a part is recorded."""
        found: dict[str, list[Place]] = defaultdict(list)
        for place in self.graph.taken_at:
            found[place.position].append(place)
        return found

    def name(self, kind: str, key: str) -> tuple[str, str]:
        """What things are sorted by."""
        return self.data.text(kind, key).casefold(), key

    # Assemblies, parts, units

    def below(self, owner: str) -> list[str]:
        """The assemblies that an owner is built on, through nesting."""
        found: dict[str, None] = {}
        todo = [owner]
        while todo:
            for link in self.graph.links.get(todo.pop(), ()):
                if link.to_assembly == link.other and link.other not in found:
                    found[link.other] = None
                    todo.append(link.other)
        return list(found)

    def numbers(self, key: str) -> str:
        """Makers' numbers of a part."""
        things = [t for t in self.data.things["part"].get(key, ()) if isinstance(t, records.Part)]
        return ", ".join(f"{maker} {number}" for t in things for maker, number in t.numbers)

    @cached_property
    def shelf(self) -> ledger.Shelf:
        """The shelf as it is now."""
        return ledger.shelf_now(self.graph)

    def stock(self, key: str) -> str:
        """How many loose ones of a part are left, and where; "" for none."""
        places = [s.place for s in self.data.things["stock"].get(key, ()) if isinstance(s, records.Stock)]
        left = self.shelf.stock.get(key, 0)
        lies = ", ".join(dict.fromkeys(p for p in places if p))
        return "" if not places else f"{left}{f' ({lies})' if lies else ''}"

    @cached_property
    def units_of(self) -> dict[str, list[str]]:
        """Set -> its units."""
        found: dict[str, list[str]] = defaultdict(list)
        for key, now in self.shelf.units.items():
            found[now.set].append(key)
        return found


def anchor(text: str) -> str:
    """The id of a heading, from a name: of our own letters, and another for another name."""
    path = page_path("position", compared(text), slug(text))
    return "at-" + path.rpartition("/")[2].removesuffix(".html")
