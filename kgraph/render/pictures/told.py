"""What a picture tells in words so that no file loses it: warnings, cautions, what is only supposed.

A tooltip is seen in an SVG alone, and by few. What somebody must know before a part is fitted stands
in the picture itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kgraph import records
from kgraph.collection import Collection
from kgraph.collection.sayings import FACT_TYPES
from kgraph.questions import Row
from kgraph.render.answers import caution_texts
from kgraph.render.pictures import sheet
from kgraph.render.pictures.sets import attribute_text
from kgraph.render.sentences import says

SUPPOSED, LEFT_OUT = "supposed as well", "supposed without"

MOST_WARNINGS = 6
MOST_TEXTS = 8
MOST_SUPPOSED = 6

_WARNING_LENGTH = 600
"""Two names of 200 characters each still stand in it whole."""
_CAUTION_LENGTH = 1500
_SUPPOSED_LENGTH = 300


def remarks(row: Row) -> list[str]:
    """What must be known of an answer before anything is fitted: its warnings and its cautions, by name."""
    said = [f"warning: {sheet.short(w, _WARNING_LENGTH)}" for w in row.warnings[:MOST_WARNINGS]]
    if len(row.warnings) > MOST_WARNINGS:
        said.append(f"+ {sheet.count(len(row.warnings) - MOST_WARNINGS, 'more warning')}")
    return [*said, *cautioned(row.cautions)]


def cautioned(names: Sequence[str]) -> list[str]:
    """The names of cautions as one remark; none where there are none."""
    what = "caution" if len(names) == 1 else "cautions"
    return [f"{what}: {sheet.listed(names, MOST_TEXTS)}"] if names else []


def caution_note(names: Sequence[str]) -> list[str]:
    """The line of the heading that names the cautions and says where to read them."""
    return [f"{said} (read at the foot)" for said in cautioned(names)]


def caution_foot(data: Collection, names: Sequence[str]) -> tuple[str, ...]:
    """The cautions in words; past MOST_TEXTS the rest by name, so that the picture is not all text."""
    texts = caution_texts(data, names[:MOST_TEXTS])
    told = [f"Caution, {name}: {sheet.short(text, _CAUTION_LENGTH)}" for name, text in texts.items()]
    if rest := names[MOST_TEXTS:]:
        told.append(f"Cautions as well: {sheet.listed(rest, 24)}")
    return tuple(told)


# --- What is supposed ----------------------------------------------------------------------------


def supposed(data: Collection, entries: Iterable[records.Entry], without: Iterable[str]) -> tuple[str, ...]:
    """What is supposed beside the folder, and which of its facts are left out by supposition.

    `without` are ids, as `--without` takes them; `data` is the folder as it is supposed to be.
    """
    told = [f"{SUPPOSED}: {said}" for said in _added(data, entries)]
    told += [f"{LEFT_OUT}: {said}" for name in without for said in _taken_off(data, name)]
    shown = [sheet.short(said, _SUPPOSED_LENGTH) for said in told[:MOST_SUPPOSED]]
    more = len(told) - len(shown)
    return (*shown, *([f"+ {more} more supposed"] if more else []))


def _added(data: Collection, entries: Iterable[records.Entry]) -> Iterable[str]:
    """A supposed fact as its sentence, any other entry as it was written."""
    places = {entry.where for entry in entries if isinstance(entry, FACT_TYPES)}
    if places:
        yield from (says(data, f) for f in data.facts.values() if any(e.where in places for e in f.evidence))
        for fact, _ in data.withdrawn.values():
            if any(e.where in places for e in fact.evidence):
                yield f"{says(data, fact)} (withdrawn, and counts for nothing)"
    for entry in entries:
        if not isinstance(entry, FACT_TYPES):
            yield ", ".join(f"{key}: {attribute_text(value)}" for key, value in entry.pairs)


def _taken_off(data: Collection, name: str) -> list[str]:
    """The facts of an id; the id alone where it is that of a withdrawal or of an event of the shelf."""
    facts = [fact for fact, _ in data.withdrawn.values() if name.strip() in fact.ids]
    return [f"{says(data, fact)} ({name.strip()})" for fact in facts] or [f"entry {name.strip()}"]
