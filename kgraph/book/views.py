"""What a page shows of facts, answers and things: plain texts and links, ready for a template."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from pathlib import PurePath

from kgraph import records
from kgraph.book.addresses import Ref, photo_path
from kgraph.collection import Collection
from kgraph.collection.resolving import names_used
from kgraph.facts import Evidence, Fact
from kgraph.fits.graph import Graph, Place
from kgraph.problems import Where
from kgraph.questions import Row
from kgraph.reason.shortest import LikeWays
from kgraph.render.answers import caution_texts, certainty_text, percent
from kgraph.render.cautions import first_words
from kgraph.render.sentences import says
from kgraph.render.values import value_text

STANDINGS = {
    "stated": "one fact says exactly this",
    "inferred": "it follows from the facts of its proof",
    "disputed": "something recorded speaks against it, but more weakly",
    "refused": "something recorded speaks against it, as strongly, or a value that must match differs",
}
"""Standing -> what it means, for the page on certainty and as a tip."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph that something rests on; without an address it is not there, and its name is shown."""

    path: str
    href: str
    of: str


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One piece of evidence: how certain, by what and whom, and where it stands."""

    percent: str
    by: str
    note: str
    where: str
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class FactView:
    """A fact in words with all its evidence, the strongest first; `gone` is why it was withdrawn."""

    id: str
    says: str
    percent: str
    sayings: tuple[EvidenceLine, ...]
    names: tuple[Ref, ...] = ()
    gone: str = ""

    @property
    def photos(self) -> tuple[Photo, ...]:
        """The photographs of all its sayings, each once."""
        return tuple(dict.fromkeys(p for s in self.sayings for p in s.photos))


@dataclass(frozen=True, slots=True)
class AnswerView:
    """One answer: the set, where it differs the place, the parts, and why it is believed."""

    set: Ref
    place: Ref | None
    parts: tuple[Ref, ...]
    certainty: str
    level: int
    standing: str
    means: str
    remarks: tuple[str, ...]
    why: tuple[int, ...]
    """The facts that it rests on, by their numbers on the page."""
    against: tuple[int, ...]
    against_percent: str


@dataclass(frozen=True, slots=True)
class CautionView:
    """A caution: its name, its first words, and its whole text."""

    name: str
    first: str
    text: str

    @property
    def rest(self) -> str:
        """What follows the first words."""
        return self.text.strip()[len(self.first) :].strip()


@dataclass(frozen=True, slots=True)
class Attribute:
    """One recorded key of a thing and its value on one line."""

    key: str
    value: str


@dataclass(frozen=True, slots=True)
class EntryView:
    """One entry that declares a thing."""

    attributes: tuple[Attribute, ...]
    where: str
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class FittedView:
    """A part recorded at a place or one like it, by its best proof."""

    key: str
    part: Ref
    role: str
    percent: str
    proof: tuple[Fact, ...]


@dataclass
class Views:
    """Turns what the rooms below know into what a page shows; each fact is worded once."""

    graph: Graph
    refs: Mapping[tuple[str, str], Ref]
    folders: Sequence[str] = ()
    photographs: Set[str] = frozenset()
    """Those that are there and can be shown."""
    _facts: dict[str, FactView] = field(default_factory=dict)
    _files: dict[str, str] = field(default_factory=dict)
    _near: dict[Place, list[tuple[Place, LikeWays]]] = field(default_factory=dict)

    @property
    def data(self) -> Collection:
        return self.graph.data

    # Names and places

    def ref(self, kind: str, key: str) -> Ref:
        """The page of a thing; without an address where it has none."""
        return self.refs.get((kind, key)) or Ref(self.data.text(kind, key), "", kind)

    def owner(self, owner: str) -> Ref:
        """The page of a set or assembly from its owner key."""
        return self.ref("set" if owner[0] == "s" else "assembly", owner[2:])

    def where(self, where: Where | None) -> str:
        """File and line, the file as it lies in its fact folder: the same wherever the folder lies."""
        if where is None:
            return "by size"
        if where.file not in self._files:
            self._files[where.file] = self._file(where.file)
        return f"{self._files[where.file]}:{where.line}"

    def _file(self, file: str) -> str:
        path = PurePath(file)
        for folder in self.folders:
            if path.is_relative_to(folder):
                return str(PurePath(PurePath(folder).name, path.relative_to(folder)))
        return file

    # Facts

    def fact(self, fact: Fact) -> FactView:
        """A fact in words."""
        found = self._facts.get(fact.id)
        if found is None or fact.id in self.data.withdrawn:
            found = self._facts[fact.id] = self._made(fact)
        return found

    def _made(self, fact: Fact) -> FactView:
        shown = says(self.data, fact)
        sayings = tuple(self._saying(e, shown) for e in sorted(fact.evidence, key=lambda e: -e.certainty))
        if not sayings:
            sayings = (EvidenceLine(percent(fact.certainty), "common practice, no source", "", "by size"),)
        used = names_used(self.data, fact.record) if fact.record else []
        named = dict.fromkeys(
            self.refs[kind, key]
            for kind, name in used
            if (kind, key := self.data.key(kind, name.key)) in self.refs
        )
        gone = self.data.withdrawn.get(fact.id)
        why = f"{gone[1].why or 'no reason given'} ({self.where(gone[1].where)})" if gone else ""
        return FactView(fact.id, shown, percent(fact.certainty), sayings, tuple(named), why)

    def photos(self, paths: Iterable[str], of: str) -> tuple[Photo, ...]:
        """Photographs with what they are evidence of."""
        there = self.photographs
        return tuple(Photo(p, photo_path(p) if p in there else "", of) for p in dict.fromkeys(paths))

    def _saying(self, e: Evidence, of: str) -> EvidenceLine:
        return EvidenceLine(
            percent(e.certainty), e.told, e.note, self.where(e.where), self.photos(e.photos, of)
        )

    # Answers

    def answer(
        self, row: Row, why: tuple[int, ...], against: tuple[int, ...], position: str = "", part: str = ""
    ) -> AnswerView:
        """One answer; the position and the part that the page speaks of are not said again."""
        place = self.ref("position", row.position) if row.position and row.position != position else None
        return AnswerView(
            set=self.owner(row.set),
            place=place,
            parts=tuple(self.ref("part", p) for p in row.parts if p != part),
            certainty=certainty_text(row),
            level=round(row.certainty * 10),
            standing=row.standing,
            means=STANDINGS[row.standing],
            remarks=tuple(remarks(row)),
            why=why,
            against=against,
            against_percent=percent(row.no) if row.against else "",
        )

    def fitted(self, owner: str, position: str) -> list[FittedView]:
        """What is recorded at a place or one like it, originals first, then by certainty."""
        found: dict[tuple[str, str], tuple[float, tuple[Fact, ...]]] = {}
        for place, ways in self._taken_near(Place(owner, position)):
            for part, role, fact in self.graph.taken_at[place]:
                sure = ways.certainty[owner] * fact.certainty
                if sure > found.get((part, role), (0.0, ()))[0]:
                    found[part, role] = (sure, (fact, *ways.facts(owner)))
        ordered = sorted(found.items(), key=lambda f: (-f[1][0], f[0][1] != "original", f[0]))
        return [
            FittedView(part, self.ref("part", part), role, percent(sure), proof)
            for (part, role), (sure, proof) in ordered
        ]

    def _taken_near(self, place: Place) -> list[tuple[Place, LikeWays]]:
        """The places like this one at which parts are recorded, and the ways from each; worked out once."""
        if place not in self._near:
            alike = self.graph.alike_places(place)
            taken = [p for p in sorted(alike) if self.graph.taken_at.get(p)]
            made = [(p, LikeWays(self.graph, {p.owner: 1.0}, p.position)) for p in taken]
            self._near.update(dict.fromkeys(alike, made))
        return self._near[place]

    # Things

    def entries(self, kind: str, key: str, apart: Set[str] = frozenset()) -> list[EntryView]:
        """The entries that declare a thing, as written, without the keys that the page shows apart.

        What entry one was written for, by its id, says nothing to a reader.
        """
        left_out = {*apart, "photo", "corrects"}
        return [
            EntryView(
                tuple(Attribute(k, value_text(v)) for k, v in thing.pairs[1:] if k not in left_out),
                self.where(thing.where),
                self.photos(records.photos_of(thing), self.data.text(kind, key)),
            )
            for thing in self.data.things[kind].get(key, ())
        ]

    def cautions(self, names: Iterable[str]) -> list[CautionView]:
        """Cautions with their texts in full, each once."""
        found = caution_texts(self.data, dict.fromkeys(names)).items()
        return [CautionView(name, first_words(text), text) for name, text in found]

    def position_cautions(self, position: str) -> list[str]:
        """The cautions of a position."""
        return [n.text for n in self.data.position_rules(position).cautions]


def remarks(row: Row) -> Iterable[str]:
    """What must be known of an answer before anything is fitted, a line each, but for cautions."""
    yield from (f"warning: {w}" for w in row.warnings)
    yield from (f"work: {w}" for w in row.work)
    if row.differs:
        yield f"differs: {', '.join(row.differs)}"
    if "size" in row.basis:
        yield "by equal size: measure first"
