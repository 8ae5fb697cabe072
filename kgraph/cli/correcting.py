"""correct: a fact is taken back and the right one written, in one append; of a thing a key is added."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping, Sequence

import click

from kgraph import lookup, words
from kgraph.api.adding import refuse_gone, refuse_unsaid
from kgraph.api.entries import with_pictures
from kgraph.api.event_log import NEW_FILE
from kgraph.api.loaded import Loaded
from kgraph.api.taking_back import taking_back, told_of_several
from kgraph.checks.disagreeing import ADDS_UP, meaning, recorded
from kgraph.cli.adding import merged_options, write
from kgraph.cli.filling import Pairs, Value
from kgraph.cli.loading import load
from kgraph.cli.picturing import photo_options
from kgraph.cli.settings import Settings
from kgraph.collection import Collection, fact_ids, trusting
from kgraph.folder import entry_keys, schema, writing
from kgraph.names import did_you_mean, fold
from kgraph.problems import WrongUse
from kgraph.records import Entry, Statement, Thing, Withdraw, plain
from kgraph.render.terminal import visible
from kgraph.render.values import value_text

_FIXED = ("id", "corrects")
"""Keys that no correction changes."""


@click.command(short_help="put a fact right: the old one withdrawn, the right one written, both or neither")
@click.argument("fact_id", metavar="ID")
@click.argument("changes", nargs=-1, metavar="KEY VALUE...")
@click.option("--why", default="", help="The reason; else what it was before is kept with the withdrawal.")
@click.option("--source", default="", help="Correct only what this source said.")
@click.option("--by", default="", help="Who corrects it.")
@click.option("--date", default="", help="When.")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@photo_options
@click.pass_obj
def correct(
    settings: Settings,
    /,
    fact_id: str,
    changes: tuple[str, ...],
    yes: bool,
    file_name: str | None,
    photos: tuple[str, ...],
    full: bool,
    **said: str,
) -> int:
    """Put right what a fact or event says: its KEY gets another VALUE, an empty one takes the KEY away.

    ID is as `show` and `--proof` print it; a list is divided by commas. What was written stays where it is.
    A `photo` is a FILE, which is copied into the folder, as by --photo. With the name of a unit, set or
    other thing for ID the entry that says the KEY of it is put right, or one is added that does.

    Example: kgraph correct 3f9a1c2b7d04e811 except "line socket, dial scale" --yes
    """
    loaded = load(settings)
    if not _is_thing(loaded, fact_id):
        fact_id = lookup.whole_id(loaded.data, fact_id)
    known = lookup.fact_with_id(loaded.data, fact_id) or lookup.event_or_withdrawal(loaded.data, fact_id)
    thing = None if known else lookup.thing_with_id(loaded.data, fact_id)
    kind = known.kind if known else thing.kind if thing else ""
    given = list(_changes(kind, _with_photos(changes, photos)).items())
    named, pictures = with_pictures(given, settings.folders[0], full)
    new = dict(named)
    if known is None and thing is None:
        return write(settings, loaded, _of_named(loaded, fact_id, new, said), yes, file_name, pictures)
    refuse_gone(loaded.graph, fact_id)
    if thing:
        return write(settings, loaded, _of_thing(thing, new, said), yes, file_name, pictures)
    if several := told_of_several(loaded.data, fact_id):
        print(visible(f"warning: {several}"), file=sys.stderr)
    if said["source"]:
        refuse_unsaid(loaded.graph, fact_id, said["source"])
    pairs = _corrected(loaded, fact_id, new, said)
    return write(settings, loaded, pairs, yes, file_name, pictures)


# What is to be changed ------------------------------------------------------------------------


def _with_photos(changes: Sequence[str], photos: Sequence[str]) -> list[str]:
    """What is to be changed, the pictures of --photo among it; raises WrongUse where that is nothing."""
    if not changes and not photos:
        raise WrongUse("nothing is to be changed; say KEY VALUE, or --photo FILE")
    return [*changes, *(word for photo in photos for word in ("photo", photo))]


def _changes(kind: str, given: Sequence[str]) -> dict[str, Value]:
    """The new values by their keys; raises WrongUse for a key without its value."""
    if len(given) % 2:
        raise WrongUse(f"{given[-1]!r} has no value; say KEY VALUE for each that is to be changed")
    options: list[tuple[str, str]] = []
    empty: dict[str, Value] = {}
    for key, value in zip(given[::2], given[1::2], strict=True):
        key = key.strip().replace("-", " ")
        if key in _FIXED:
            raise WrongUse(f"{key} cannot be corrected; withdraw the fact and add another")
        if not value.strip():
            empty[key] = ""
        else:
            options += [(key, v) for v in (_divided(value) if key in words.LISTS else [value])]
    return {**empty, **dict(merged_options(kind, options))}


def _divided(text: str) -> list[str]:
    """The names of a list; a comma between two digits divides nothing."""
    return [name.strip() for name in re.split(r"(?<!\d),|,(?!\d)", text) if name.strip()]


# A fact or an event ---------------------------------------------------------------------------


def _corrected(loaded: Loaded, fact_id: str, new: dict[str, Value], said: dict[str, str]) -> list[Pairs]:
    """The withdrawals and the corrected entry; raises WrongUse where nothing would change."""
    old = _saying(loaded, fact_id, said["source"])
    before: dict[str, Value] = {k: plain(v) for k, v in old.pairs if k not in _FIXED}
    if sources := _sources_left(loaded, fact_id, old, said["source"]):
        before["source"] = sources if len(sources) > 1 else sources[0]
    order = entry_keys.keys_of(old.kind)
    who = {k: said[k] for k in ("by", "date") if said[k]}
    after = {k: v for k, v in {**before, **who, **new}.items() if v not in ("", [], {})}
    after = dict(sorted(after.items(), key=lambda item: order.index(item[0]) if item[0] in order else 0))
    why = said["why"] or "corrected: " + ", ".join(f"{k} was {_shown(old, k)}" for k in new)
    told: Pairs = [("why", why), *((k, said[k]) for k in ("source", "by", "date") if said[k])]
    back = taking_back(loaded.data, fact_id, lambda r: _is_meant(loaded.data, r, said["source"]))
    gone: list[Pairs] = [[("withdraw", target), *told] for target in back.targets]
    known = _withdrawn_before(loaded.data, old, after)
    entry = _said_again(loaded, before, old, after, bool(known))
    return [*gone, [*entry, ("corrects", known or back.corrects)]]


def _withdrawn_before(data: Collection, old: Statement, after: dict[str, Value]) -> str:
    """The id by which what is to be said now was taken back before, which it must correct; else ""."""
    now = _read(after)
    if now is None or fact_ids.written_id(now) == fact_ids.written_id(old):
        return ""
    fact = lookup.fact_with_id(data, fact_ids.written_id(now))
    ids = {fact_ids.written_id(now), *(fact.ids if fact else ())}
    targets = (e.target.strip() for e in data.entries if isinstance(e, Withdraw))
    return next((target for target in targets if target in ids), "")


def _sources_left(loaded: Loaded, fact_id: str, old: Statement, source: str) -> list[Value]:
    """The sources of a saying that nobody took back, or the one of them that is corrected."""
    data, fact = loaded.data, lookup.fact_as_said(loaded.data, fact_id)
    texts = [t for e in fact.evidence if e.where == old.where for t in e.sources] if fact else []
    return [t for t in texts if not source or _is_source(data, t, source)]


def _is_meant(data: Collection, said: Statement, source: str) -> bool:
    return not source or any(_is_source(data, n.text, source) for n in said.sources)


def _is_source(data: Collection, text: str, source: str) -> bool:
    return data.key("source", fold(text)) == data.key("source", fold(source))


def _shown(old: Entry, key: str) -> str:
    return value_text(dict(old.pairs).get(key, "")) or "not said"


def _saying(loaded: Loaded, fact_id: str, source: str) -> Statement:
    """The saying that is put right: the surest with this id, of this source if one is named."""
    data = loaded.data
    fact = lookup.fact_as_said(data, fact_id)
    if fact is None:
        found = lookup.event_or_withdrawal(data, fact_id)
        assert found is not None
        return found
    places = {id(e.where) for e in fact.evidence}
    said = [e for e in data.entries if isinstance(e, Statement) and id(e.where) in places]
    said = [e for e in said if _is_meant(data, e, source)]
    if len(said) > 1 and not source:
        names = ", ".join(f"{_who(e)} ({e.where})" for e in said)
        says = f"warning: it is said {len(said)} times and all of them are taken back: {names}"
        print(visible(f"{says}; --source names one"), file=sys.stderr)
    return max(said, key=lambda e: trusting.certainty_of(data, e))


def _who(said: Statement) -> str:
    return ", ".join(n.text for n in said.sources) or said.by or "no source"


def _own_id(old: Statement, before: dict[str, Value], after: dict[str, Value], again: bool) -> Pairs:
    """An id of its own where it states the same as before: else its id would be that of what was withdrawn.

    Raises WrongUse where it says nothing else at all.
    """
    was, now = (_read(pairs) for pairs in (before, after))
    if was is None or now is None:
        return []
    if not again and fact_ids.written_id(now) != fact_ids.written_id(old):
        return []
    own = fact_ids.saying_id(now.pairs)
    if own == fact_ids.saying_id(was.pairs):
        raise WrongUse("it says so already; nothing was written")
    return [("id", own)]


_AGAIN = re.compile(r"(?:^|; )said again(?: \(\d+\))?$")


def _said_again(
    loaded: Loaded, before: dict[str, Value], old: Statement, after: dict[str, Value], again: bool
) -> Pairs:
    """The corrected entry with an id of its own where it needs one: where what it states was taken back.

    What was said before in the same words and taken back would be taken back still: it gets a note.
    """
    said = [e for e in loaded.data.entries if isinstance(e, Statement)]
    taken = {e.own_id.strip() for e in said} | {fact_ids.saying_id(e.pairs) for e in said}
    note, number = _AGAIN.sub("", str(after.get("note", ""))), 0
    while (own := _own_id(old, before, after, again)) and own[0][1] in taken:
        number += 1
        mark = "said again" if number == 1 else f"said again ({number})"
        after = {**after, "note": f"{note}; {mark}" if note else mark}
    return [*after.items(), *own]


def _read(pairs: dict[str, Value]) -> Statement | None:
    """The statement as it will be read; None where something is wrong with it, which is told in its turn."""
    found, _ = schema.entries_of(writing.entry_text(list(pairs.items())).encode(), "corrected")
    return next((e for e in found if isinstance(e, Statement)), None)


# A thing --------------------------------------------------------------------------------------


def _is_thing(loaded: Loaded, name: str) -> bool:
    data = loaded.data
    return any(data.key(kind, fold(name)) in data.things[kind] for kind in words.THINGS)


def _of_thing(old: Thing, new: dict[str, Value], said: dict[str, str]) -> list[Pairs]:
    """The withdrawal of an entry of a thing and the right one; raises WrongUse where nothing would change."""
    if old.kind in new:
        raise WrongUse(f"a {old.kind} is shown by another name with `kgraph rename`")
    before: dict[str, Value] = {k: plain(v) for k, v in old.pairs if k not in ("corrects", "via")}
    who = {k: said[k] for k in ("by", "date") if said[k]}
    after = {k: v for k, v in {**before, **who, **new}.items() if v not in ("", [], {})}
    if after == before:
        raise WrongUse("it says so already; nothing was written")
    target = fact_ids.thing_id(old)
    why = said["why"] or "corrected: " + ", ".join(f"{k} was {_shown(old, k)}" for k in new)
    told: Pairs = [("why", why), *((k, said[k]) for k in ("by", "date") if said[k])]
    return [[("withdraw", target), *told], [*after.items(), ("corrects", target)]]


def _of_named(loaded: Loaded, name: str, new: dict[str, Value], said: dict[str, str]) -> list[Pairs]:
    """What puts right the one entry of a thing that says otherwise, or else an entry that says more of it.

    Raises WrongUse for a name that is not known.
    """
    data = loaded.data
    kinds = [kind for kind in words.THINGS if data.key(kind, fold(name)) in data.things[kind]]
    if not kinds:
        units = did_you_mean(name, data.known("unit").values())
        mend = units or "`kgraph show NAME` prints the ids"
        raise WrongUse(f"no fact has the id {name!r}, and no entry declares a thing of that name; {mend}")
    if len(kinds) > 1 and "unit" not in kinds:
        raise WrongUse(f"{name!r} is the name of a {' and of a '.join(kinds)}; say it by `kgraph add`")
    kind = "unit" if "unit" in kinds else kinds[0]
    key = data.key(kind, fold(name))
    known: dict[str, Value] = {
        k: plain(v)
        for t in reversed(data.things[kind][key])
        for k, v in t.pairs
        if k in entry_keys.required_of(kind)
    }
    if kind in new:
        raise WrongUse(f"a {kind} is not renamed so; give it another name by also")
    other = [t for t in data.things[kind][key] if any(_says_otherwise(t, k, v) for k, v in new.items())]
    if len(other) == 1:
        return _of_thing(other[0], new, said)
    more = {**known, kind: data.text(kind, key), **new}
    return [[(kind, more.pop(kind)), *((k, v) for k, v in more.items() if v != "")]]


def _says_otherwise(thing: Thing, key: str, value: Value) -> bool:
    was = dict(thing.pairs).get(key)
    if was is None or key in ADDS_UP or isinstance(was, Mapping):
        return False
    return bool(meaning(key, was) != meaning(key, recorded(value)))
