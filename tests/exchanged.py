"""What tests of export and import share: a folder with every kind of entry, and what must stay alike."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kgraph import collection
from kgraph.collection import Collection
from kgraph.exchange import incoming
from kgraph.exchange.formats import FORMATS, Export, Incoming
from kgraph.fits.graph import Graph
from kgraph.folder import reading, schema, writing

SUFFIX = {name: one.suffixes[0] for name, one in FORMATS.items() if one.rdf}
"""RDF format -> the suffix of its files."""

EVERY = r"""
- set: Larkfield LK-40
  also: [LK 40 L, "lk·40 lw"]
  market: UK
  mains: 240 V 50 Hz
  bands: [LW, MW, [SW 1, SW 2], {FM: 87.5-108 MHz, tuned by: {a coil: yes}}]
  empty list: []
  empty map: {}
  empty text: ""
- set: Larkfield LK40          # the same thing written twice, with more known of it
  weight: 3.2 kg
- set: Orvanek 2200
  mains: 220 V 50 Hz
- set: Quillon 31
  badge: Quillon
  model: "31"
- set: "Velmoor 10"
  called: Velmoor Ten
  date: 2026-03-01
- assembly: TN7 mechanism
  kind: tape mechanism
  positions: [main belt, pinch roller, thrust plate screw]
  also: [TN-7]
- part: K-114
  kind: knob
  numbers: {Larkfield: "440 1882", Orvanek: ["22-7", "22-8"]}
  shaft: 6 mm D
  bore: 6.1 mm
- part: SQ 1.25 x 262
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
  hardness: 60 Shore A
- part: RD 1.3
  kind: belt
  section: round 1.3 mm
  folded: about 5 in
- part: RD 1.3 b
  kind: belt
  section: round 1.3 mm
  inside diameter: 3 1/4 in
- part: dial pointer, made 2025
  kind: dial pointer
  made: brass wire, drawing pointer.svg
- part: SC 3 x 8
  kind: screw
  thread: 3 mm
  length: 8 mm
- part: SC 3 x 8 b
  kind: screw
  thread: 3 mm
  length: 8.2 mm
- position: speaker grille
  also: [loudspeaker grille]
  must match: [mains]
  caution: mains
- kind: screw
  generic: yes
  compare: {thread: same, length: 0.5 mm}
  certainty: 0.85
  caution: [solvents]
  perishable: no
  sound: 0.9
- source: parts list, LK-40
  type: printed
  where: page 14
- source: bench book
  type: bench
- source: letter from a friend
  type: letter
  trust: 0.9
- grade: fitted
  certainty: 0.99
- caution: mains
  text: "Unplug it.\n\nLocal codes come first: \"licensed\" work only."
- unit: U-07
  set: Larkfield LK-40
  role: donor
  keep: 7
  state: {speaker grille: broken, front: good, volume knob: missing}
  seen: {stamp: TN7, bands: [LW, "FM: 87.5"]}
- unit: U-11
  set: Orvanek 2200
  role: patient
  wants: [volume knob, main belt]
- stock: K-114
  count: 3
  where: drawer 2
- fault: slide switch oxidised
  in: TN7 mechanism
  position: pinch roller
  signs: [oscillates while recording, one side weak]
  check: work it and listen
  cure: contact cleaner, then work it to and fro
  photo: [photos/3f9a1c2b7d04e811.jpg, photos/0123456789abcdef.png]
  page: 14
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket, dial scale]
  how: compared
  source: bench book
  by: BN
  date: 2021-03
- rebadge: [Orvanek 2200, LK 40 L]
  except: [dial scale, line socket]
  certainty: 0.97
  source: parts list, LK-40
  by: bn
  date: 2022
  note: "said again, by another source; \e[31m \u202e \t tab"
- uses: TN7 mechanism
  in: Larkfield LK-40
  except: [thrust plate screw]
  how: printed
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
  id: own-id 1
  corrects: taken-back
- takes: SQ 1.25 x 262
  in: TN-7
  position: main belt
  role: substitute
- takes: SC 3 x 8
  in: Orvanek 2200
  position: front screw
- takes: K-114
  in: Larkfield LK-40
  position: loudspeaker grille
- same: [K-114, 440 1882]
  date: 2020-01-31
  via: [bert, carl]
- distinct: [Larkfield LK-40, Quillon 31]
  how: compared
- replaces: K-114B
  old: K-114
  certainty: 1
- fits: Orvanek 2200
  position: volume knob
  to: Quillon 31
  at: tone knob
  both ways: yes
  work: ream the bore to 6.1 mm
- refuses: K-114
  in: Velmoor 10
  position: volume knob
  source: bench book
- refuses: Orvanek 2200
  from: volume knob
  in: Velmoor 10
  position: tone knob
  certainty: 0.6
  trust: 0.5
  source: letter from a friend
- run: main belt
  in: TN7 mechanism
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 9.2 mm, drives: yes, rpm: 2400}
    - {name: flywheel, x: 62 mm, y: 5 mm, diameter: 58 mm, capstan: 2.0 mm}
    - {name: idler, x: 30 mm, y: 20 mm, diameter: 10 mm, side: outside}
  stretch: 4 % to 10 %
  pull: 40 g cm at flywheel
- takes: K-9
  in: Quillon 31
  position: tone knob
  id: taken-back
- via: bert
  trust: 0.6
  date: 2026-03-01
- withdraw: taken-back
  why: misread label
  all sayings: yes
- withdraw: taken-back
  why: misread twice
- taken: speaker grille
  from: U-07
  to: U-11
  at: speaker grille
  owed: yes
  by: EV
- restored: speaker grille
  to: U-07
  part: K-114
- fitted: K-114
  to: U-11
  at: volume knob
  cost: 4.50 EUR
- inspected: front
  of: U-07
  state: cracked
  hours: 0.5
- part: 'x> . <urn:evil> <urn:p> <urn:o'
  kind: knob
- part: 'a" . } DELETE WHERE { ?s ?p ?o } # \u003e \N'
- part: '100% {curly} ^caret` |bar| a:b/c?d#e'
  "odd key % : <x> 日本": 日本
  long: [LISTED]
- set: "Ünder ſtreet 日本 12"
- set: '3E04'
- set: 'no 012'
""".replace("LISTED", ", ".join(map(str, range(2000))))
"""Every kind of entry, every key, and names that are hard to send."""


def graph(text: str) -> Graph:
    """The graph of a folder written as one text."""
    from tests.support import graph_of

    return graph_of(text)


def exported(found: Graph, name: str, **more: bool) -> bytes:
    """A graph in a format."""
    return b"".join(FORMATS[name].writer()(Export(found, **more)))


def imported(data: bytes, name: str, engine: str) -> Collection:
    """The collection that an export makes when it is written to an empty folder."""
    read = incoming.read(Incoming(Path("export" + SUFFIX[name]), data), engine)
    text = "".join(writing.entry_text(pairs) for pairs in read.entries)
    again = reading.read_bytes(text.encode(), "import.yaml")
    entries, problems = schema.check_file(again)
    assert not [p for p in [*again.problems, *problems] if p.severity == "error"]
    return collection.build(entries)


def meant(data: Collection) -> dict[str, Any]:
    """All that a collection says, without where it stands."""

    def fact(one: Any) -> tuple[Any, ...]:
        said = [(e.how, e.certainty, e.source, e.by, e.date, e.note, e.trust) for e in one.evidence]
        return (one.kind, one.claim, one.certainty, one.ids, said)

    return {
        "entries": [(e.kind, e.pairs) for e in data.entries],
        "facts": {key: fact(one) for key, one in data.facts.items()},
        "withdrawn": {key: fact(one) for key, (one, _) in data.withdrawn.items()},
        "names": {kind: data.known(kind) for kind in data.things},
        "aliases": data.aliases,
        "grades": data.grades,
        "clashing": [key for key, _ in data.said.clashing_ids],
    }
