"""Small fact folders made at random, to hold two engines against each other.

One builder, driven either by hypothesis (`folders`) or by a seed (`random_folder`). All names are
invented. Left out, since the contract does not settle them or refuses them: a thing related to itself,
an assembly built on itself by a roundabout way, sizes that differ by exactly the tolerance, one
statement made once under a name and once under an `also` name of the same thing.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

import yaml
from hypothesis import strategies as st

Entry = dict[str, Any]
T = TypeVar("T")

CERTAINTIES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 1.0)
GRADES = ("fitted", "measured", "printed", "compared", "photo", "reported", "guess")
SETS = ("Velmoor 10", "Hastwick 220", "Brenlow R-5", "Corvane 31", "Dunmere 7 S", "Elvart 400")
ASSEMBLIES = ("M1 mechanism", "C2 chassis", "H3 back")
POSITIONS = ("main belt", "volume knob", "front screw")
PARTS = ("Q-1", "Q-2", "Q-3", "Q-4", "Q-5")
NUMBERS = ("440 1882", "12-7")
ALSO = {
    "Velmoor 10": "Velmoor 10 L",
    "Hastwick 220": "HTW 220",
    "M1 mechanism": "mechanism one",
    "main belt": "drive belt",
    "volume knob": "dial knob",
    "Q-1": "quill one",
    "Q-3": "quill three",
}
EVIDENCE = ("how", "certainty", "source", "by", "date", "note", "id")
UNSPELT = (*EVIDENCE, "role", "both ways", "work")
ID = "00000000000000a1"
FEATURES = ("dial scale", "line socket")

# A step of 0.06 mm and one of 1.5 % lie within the tolerances for belts, two such steps do not; none lies
# on the boundary, where the last digit of a division would decide.
BELTS: tuple[dict[str, str], ...] = (
    {"section": "square 1.2 mm", "inside length": "200 mm"},
    {"section": "square 1.26 mm", "inside length": "200 mm"},
    {"section": "square 1.32 mm", "inside length": "203 mm"},
    {"section": "square 1.2 mm", "inside length": "203 mm"},
    {"section": "square 1.2 mm", "inside length": "206 mm"},
    {"section": "square 1.26 mm", "folded": "101.5 mm"},
    {"section": "round 1.2 mm", "inside length": "200 mm"},
    {"section": "flat 4 mm x 0.6 mm", "inside length": "200 mm"},
    {"section": "flat 4.06 mm x 0.54 mm", "inside diameter": "64 mm"},
    {"section": "square 1.2 mm"},
    {},
)
BELT_RULES: tuple[dict[str, Any], ...] = (
    {"kind": "belt", "certainty": "0.8"},
    {"kind": "belt", "generic": "no"},
)
MORE_BELTS = (*BELTS, {"section": "square 1.2 mm", "folded": "99 mm", "inside length": "200 mm"})
MORE_BELT_RULES: tuple[dict[str, Any], ...] = (
    *BELT_RULES,
    {"kind": "belt", "also": ["drive band"]},
    {"kind": "drive band", "also": ["belt"]},
    {"kind": "belt", "compare": {"section": "0.1 mm", "folded": "1 mm"}},
    {"kind": "belt", "also": ["drive band"], "compare": {"inside diameter": "1 %"}},
)
SCREWS: tuple[dict[str, str], ...] = (
    {"thread": "3 mm", "length": "8 mm", "head": "pan"},
    {"thread": "3 mm", "length": "8.3 mm", "head": "pan"},
    {"thread": "3 mm", "length": "10 mm", "head": "pan"},
    {"thread": "2.6 mm", "length": "8 mm", "head": "pan"},
    {"thread": "3 mm", "length": "8 mm", "head": "countersunk"},
    {"thread": "3 mm", "length": "8 mm"},
    {},
)
SCREW_RULES: tuple[dict[str, str], ...] = (
    {"thread": "same", "length": "at least", "head": "same"},
    {"thread": "same", "length": "0.5 mm"},
    {"thread": "0.5 mm", "length": "5 %", "head": "same"},
)


class Chooser(Protocol):
    """Where the choices come from."""

    def pick(self, values: Sequence[T]) -> T:
        """One of the values; the first is the simplest."""

    def count(self, low: int, high: int) -> int:
        """A number from low to high, both included."""


class Seeded:
    """Choices from a seed."""

    def __init__(self, seed: int) -> None:
        self.source = random.Random(seed)

    def pick(self, values: Sequence[T]) -> T:
        """One of the values."""
        return self.source.choice(values)

    def count(self, low: int, high: int) -> int:
        """A number from low to high."""
        return self.source.randint(low, high)


class Drawn:
    """Choices that hypothesis draws, and makes simpler when a test fails."""

    def __init__(self, draw: Callable[[st.SearchStrategy[Any]], Any]) -> None:
        self.draw = draw

    def pick(self, values: Sequence[T]) -> T:
        """One of the values."""
        return self.draw(st.sampled_from(values))  # type: ignore[no-any-return]

    def count(self, low: int, high: int) -> int:
        """A number from low to high."""
        return self.draw(st.integers(low, high))  # type: ignore[no-any-return]


class Builder:
    """Builds one folder from the choices of a chooser."""

    def __init__(
        self, chooser: Chooser, most_facts: int, fewest_facts: int = 1, more_belts: bool = False
    ) -> None:
        """`more_belts`: also belts under another name of their kind, and compared in other ways."""
        self.choose = chooser
        self.more_belts = more_belts
        self.sets = SETS[: chooser.count(2, len(SETS))]
        self.assemblies = ASSEMBLIES[: chooser.count(1, len(ASSEMBLIES))]
        self.parts = PARTS[: chooser.count(2, len(PARTS))]
        self.positions = POSITIONS[: chooser.count(1, len(POSITIONS))]
        # Facts have to meet for anything to follow from them: one position is more usual than the others.
        self.at = (self.positions[0], self.positions[0], *self.positions)
        self.facts = chooser.count(min(fewest_facts, most_facts), most_facts)
        # The spelling chosen for a thing in a statement, so that a statement made again uses the same.
        self.spelt: dict[tuple[str, str], str] = {}
        self.declared: set[str] = set()

    def sometimes(self, one_in: int) -> bool:
        """True once in so many times; False is the simpler."""
        return self.choose.count(1, one_in) == one_in

    def build(self) -> list[Entry]:
        """Things first, then facts, then what is taken back."""
        things = [*self._sets(), *self._assemblies(), *self._parts(), *self._others()]
        facts: list[Entry] = []
        for _ in range(self.facts):
            facts.append(self._again(facts) if facts and self.sometimes(7) else self._fact(facts))
        taken_back = self._withdrawals(facts)
        return [*things, *(self._spell(f) for f in facts), *taken_back]

    # Things.

    def _thing(self, what: str, name: str, **more: Any) -> Entry:
        self.declared.add(name)
        entry: Entry = {what: name}
        if name in ALSO:
            entry["also"] = [ALSO[name]]
        return {**entry, **more}

    def _sets(self) -> list[Entry]:
        return [self._thing("set", s) for s in self.sets if not self.sometimes(4)]

    def _assemblies(self) -> list[Entry]:
        """Every assembly is declared, with some positions; a place that it does not declare stays in it."""
        entries = []
        for name in self.assemblies:
            has = [p for p in self.positions if not self.sometimes(3)]
            entries.append(self._thing("assembly", name, kind=name.split()[-1], positions=has))
        return entries

    def _parts(self) -> list[Entry]:
        entries = []
        for name in self.parts:
            kind = self.choose.pick(("belt", "belt", "knob", "screw"))
            belts = MORE_BELTS if self.more_belts else BELTS
            sizes = self.choose.pick({"belt": belts, "screw": SCREWS, "knob": ({"shaft": "6 mm D"},)}[kind])
            if self.more_belts and kind == "belt" and self.sometimes(4):
                kind = "drive band"
            if not self.sometimes(6):
                entries.append(self._thing("part", name, kind=kind, **sizes))
        return entries

    def _others(self) -> list[Entry]:
        entries: list[Entry] = [self._thing("position", p) for p in self.positions if p in ALSO]
        if self.sometimes(2):
            rule: Entry = {"kind": "screw", "generic": "yes", "compare": self.choose.pick(SCREW_RULES)}
            entries.append(rule)
        if self.sometimes(4):
            entries.append(self.choose.pick(MORE_BELT_RULES if self.more_belts else BELT_RULES))
        if self.sometimes(4):
            entries.append({"grade": self.choose.pick(GRADES), "certainty": "0.75"})
        entries += [{"source": name, "type": "bench"} for name in ("sheet 1", "sheet 2")]
        return entries

    # Facts, under the plain names of things; how a name is spelt is settled afterwards.

    def _fact(self, facts: Sequence[Entry]) -> Entry:
        kinds = (
            self._rebadge,
            self._rebadge,
            self._takes,
            self._takes,
            self._uses,
            self._fits,
            lambda: self._refuses(facts),
            lambda: self._refuses(facts),
            self._same,
            self._replaces,
        )
        return self._evidence(self.choose.pick(kinds)())

    def _evidence(self, entry: Entry) -> Entry:
        how = self.choose.pick(("certainty", "certainty", "how", "neither"))
        if how == "certainty":
            entry["certainty"] = str(self.choose.pick(CERTAINTIES))
        if how == "how":
            entry["how"] = self.choose.pick(GRADES)
        if self.sometimes(3):
            entry["source"] = self.choose.pick(("sheet 1", "sheet 2"))
        if self.sometimes(5):
            entry.update(by="a friend", date="2024-01-01", note="seen once")
        return entry

    def _two(self, values: Sequence[str]) -> list[str]:
        first = self.choose.pick(values)
        return [first, self.choose.pick([v for v in values if v != first])]

    def _except(self, entry: Entry, names: Sequence[str]) -> Entry:
        if self.sometimes(2):
            first = self.choose.pick(names)
            more = [n for n in names if n != first and self.sometimes(5)]
            entry["except"] = [first, *more]
        return entry

    def _rebadge(self) -> Entry:
        entry: Entry = {"rebadge": self._two(self.sets)}
        return self._except(entry, (*self.positions, *self.assemblies, *FEATURES))

    def _uses(self) -> Entry:
        """A set or an earlier assembly is built on an assembly, so that no assembly is in itself."""
        number = self.choose.count(0, len(self.assemblies) - 1)
        users = (*self.sets, *self.sets, *self.assemblies[:number])
        entry: Entry = {"uses": self.assemblies[number], "in": self.choose.pick(users)}
        return self._except(entry, self.positions)

    def _place(self, entry: Entry, owners: Sequence[str]) -> Entry:
        return {**entry, "in": self.choose.pick(owners), "position": self.choose.pick(self.at)}

    def _takes(self) -> Entry:
        part = self.choose.pick(self.parts)
        entry = self._place({"takes": part}, (*self.sets, *self.assemblies))
        if self.sometimes(4):
            entry["role"] = "substitute"
        elif part in ("Q-2", "Q-4"):
            entry["role"] = "original"
        return entry

    def _same(self) -> Entry:
        return {"same": self._two((*self.parts, *NUMBERS))}

    def _replaces(self) -> Entry:
        new, old = self._two((*self.parts, *NUMBERS))
        return {"replaces": new, "old": old}

    def _fits(self) -> Entry:
        giver, taker = self._two(self.sets)
        position, at = self.choose.pick(self.at), self.choose.pick(self.at)
        entry: Entry = {"fits": giver, "position": position, "to": taker}
        if at != position:
            entry.update({"at": at, "work": "ream the bore"})
        if self.sometimes(3):
            entry["both ways"] = "yes"
        return entry

    def _refuses(self, facts: Sequence[Entry]) -> Entry:
        """A part or what a place has; mostly one of which an earlier fact says that it goes."""
        meant = [f for f in facts if "takes" in f or "fits" in f]
        if meant and not self.sometimes(3):
            fact = self.choose.pick(meant)
            if "takes" in fact:
                owners = (fact["in"], *self.sets)
                return self._refused_part({"refuses": fact["takes"]}, owners, (fact["position"],))
            at = {"in": fact["to"], "position": fact.get("at", fact["position"])}
            return {"refuses": fact["fits"], "from": fact["position"], **at}
        if self.sometimes(2):
            giver, taker = self._two(self.sets)
            at = {"in": taker, "position": self.choose.pick(self.at)}
            return {"refuses": giver, "from": self.choose.pick(self.at), **at}
        owners = (*self.sets, *self.sets, *self.assemblies)
        return self._refused_part({"refuses": self.choose.pick(self.parts)}, owners, self.at)

    def _refused_part(self, entry: Entry, owners: Sequence[str], positions: Sequence[str]) -> Entry:
        return {**entry, "in": self.choose.pick(owners), "position": self.choose.pick(positions)}

    def _again(self, facts: Sequence[Entry]) -> Entry:
        """An earlier statement with other evidence, turned round where that says the same."""
        entry = {k: v for k, v in self.choose.pick(facts).items() if k not in EVIDENCE}
        for key in ("rebadge", "same", "except"):
            if key in entry and self.sometimes(2):
                entry[key] = entry[key][::-1]
        return self._evidence(entry)

    def _withdrawals(self, facts: Sequence[Entry]) -> list[Entry]:
        """Sometimes a statement is taken back, or one source's word for it, by an id on all evidence."""
        if not self.sometimes(3):
            return []
        chosen = self.choose.pick(facts)
        alike = [f for f in facts if _says(f, EVIDENCE) == _says(chosen, EVIDENCE)]
        for fact in alike:
            fact["id"] = ID
        entry: Entry = {"withdraw": ID, "why": "misread label"}
        if "source" in chosen and self.sometimes(2):
            entry["source"] = chosen["source"]
        return [entry]

    # Spelling.

    def _spell(self, entry: Entry) -> Entry:
        """Other spellings of one name in each entry, and other names of one thing in each statement."""
        says = _says(entry, UNSPELT)
        return {k: v if k in UNSPELT else self._spell_value(says, v) for k, v in entry.items()}

    def _spell_value(self, says: str, value: Any) -> Any:
        if isinstance(value, list):
            return [self._spell_value(says, v) for v in value]
        if (says, value) not in self.spelt:
            other = value in self.declared and value in ALSO and self.sometimes(6)
            self.spelt[says, value] = ALSO[value] if other else value
        name = self.spelt[says, value]
        return self.choose.pick((name, name, name, name.upper(), name.lower()))


def _says(entry: Entry, aside: Sequence[str]) -> str:
    """What tells an entry from others, whichever way round it lists things."""
    kept = {k: sorted(v) if isinstance(v, list) else v for k, v in entry.items() if k not in aside}
    return repr(sorted(kept.items()))


class _Plain(yaml.SafeDumper):
    """Writes a list that stands in two entries twice, since fact files may not hold anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        """Never a reference to what stands elsewhere."""
        return True


def as_text(entries: Sequence[Entry]) -> str:
    """The entries as the text of one YAML file, every scalar a text."""
    return yaml.dump(
        list(entries), Dumper=_Plain, default_flow_style=None, allow_unicode=True, sort_keys=False, width=1000
    )


def write(entries: Sequence[Entry], folder: Path) -> Path:
    """The entries as one YAML file in the folder, every scalar a text; returns the file."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "facts.yaml"
    path.write_text(as_text(entries), encoding="utf-8")
    return path


@st.composite
def folders(draw: Callable[[st.SearchStrategy[Any]], Any], most_facts: int = 14) -> list[Entry]:
    """A strategy for folders of at most so many fact entries, a `withdraw` apart."""
    return Builder(Drawn(draw), most_facts, more_belts=True).build()


def random_folder(seed: int, most_facts: int = 14, more_belts: bool = False) -> list[Entry]:
    """A folder of the same kind, the same for the same seed; it has six facts at least."""
    return Builder(Seeded(seed), most_facts, fewest_facts=6, more_belts=more_belts).build()
