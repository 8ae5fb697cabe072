"""add and withdraw: an entry is checked, its consequence is shown, then it is appended."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from kgraph import collection, consequences, lookup, words
from kgraph.cli import events
from kgraph.cli.events import NEW_FILE
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings, Whole
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.folder import schema, writing
from kgraph.names import did_you_mean, fold, nearest
from kgraph.problems import Problem, Where, WrongUse
from kgraph.records import Entry, Statement, Withdraw
from kgraph.render.sentences import says
from kgraph.render.shelf import event_says
from kgraph.render.terminal import visible
from kgraph.shelf.ledger import Event, shelf_now, withdrawal_of
from kgraph.words import LISTS, MAPPINGS

Value = str | list["Value"] | dict[str, "Value"]
Pairs = list[tuple[str, Value]]

_ADD_SETTINGS = {"ignore_unknown_options": True, "allow_extra_args": True}


@click.command(context_settings=_ADD_SETTINGS, short_help="append an entry, checked first")
@click.argument("kind", required=False)
@click.argument("rest", nargs=-1, type=click.UNPROCESSED, metavar="[NAME]... [--KEY VALUE]...")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@click.pass_obj
def add(settings: Settings, kind: str | None, rest: tuple[str, ...], yes: bool, file_name: str | None) -> int:
    """Append an entry of any kind. Without KIND it asks, field by field.

    A key of the entry is an option: --how fitted, --both-ways yes, --except "strap lugs" (again for
    each further one), --state "aerial=snapped", --numbers "Larkfield=440 1882".

    Example: kgraph add rebadge "Larkfield RC-40" "Ostmark 2200" --except microphones --how compared --yes
    """
    loaded = load(settings)
    pairs = _ask_for_entry(loaded) if kind is None else _pairs_of(kind, rest)
    return _write(settings, loaded, pairs, yes, file_name)


@click.command(short_help="take a fact back; nothing is deleted")
@click.argument("fact_id", metavar="ID")
@click.option("--why", required=True, help="The reason, kept with the withdrawal.")
@click.option("--source", default="", help="Take back only what this source said.")
@click.option("--by", default="")
@click.option("--date", default="")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@click.pass_obj
def withdraw(
    settings: Settings,
    fact_id: str,
    why: str,
    source: str,
    by: str,
    date: str,
    yes: bool,
    file_name: str | None,
) -> int:
    """Take a fact back by its id, as `show` and `--proof` print it. What was written stays where it is.

    Example: kgraph withdraw 3f9a1c2b7d04e811 --why "misread label" --yes
    """
    loaded = load(settings)
    _refuse_gone(loaded, fact_id)
    if source:
        _refuse_unsaid(loaded, fact_id, source)
    given = (("withdraw", fact_id), ("why", why), ("source", source), ("by", by), ("date", date))
    return _write(settings, loaded, [(k, v) for k, v in given if v], yes, file_name)


def _refuse_gone(loaded: Whole, fact_id: str) -> None:
    """Raise WrongUse unless the id is that of a fact, an event or a withdrawal that still counts."""
    data = loaded.data
    by: Withdraw | None
    if (stated := lookup.fact_with_id(data, fact_id)) is not None:
        by = stated[1]
    else:
        entry = lookup.event_or_withdrawal(data, fact_id)
        if entry is None:
            raise WrongUse(f"no fact has the id {fact_id!r}; `kgraph show NAME` prints the ids")
        by = withdrawal_of(data, entry)
    if by is not None:
        raise WrongUse(f"{fact_id} is withdrawn already, at {by.where}")


def _refuse_unsaid(loaded: Whole, fact_id: str, source: str) -> None:
    """Raise WrongUse where a source has not said the fact that is to be taken back from it."""
    data, stated = loaded.data, lookup.fact_with_id(loaded.data, fact_id)
    if stated is None:
        entry = lookup.event_or_withdrawal(data, fact_id)
        texts = [entry.source.text] if entry and entry.source else []
    else:
        texts = [e.source for e in stated[0].evidence if e.source]
    said = {data.key("source", fold(text)): text for text in texts}
    if data.key("source", fold(source)) not in said:
        names = ", ".join(sorted(said.values())) or "no source"
        raise WrongUse(f"{source!r} has not said this; it is said by {names}")


# From the command line to pairs ---------------------------------------------------------------


def _pairs_of(kind: str, rest: Sequence[str]) -> Pairs:
    if kind not in words.KINDS:
        mend = did_you_mean(kind, words.KINDS) or f"use one of {', '.join(words.KINDS)}"
        raise WrongUse(f"{kind!r} is not a kind of entry; {mend}")
    names, options = _split(rest)
    if kind in LISTS - {"caution"}:
        first: Value = list(names)
    else:
        first = " ".join(names)
    if not names:
        raise WrongUse(f"add {kind} needs a name; see `kgraph add --help`")
    return [(kind, first), *_merge(options)]


def _split(rest: Sequence[str]) -> tuple[list[str], list[tuple[str, str]]]:
    names: list[str] = []
    options: list[tuple[str, str]] = []
    todo = list(rest)
    while todo:
        word = todo.pop(0)
        found = re.match(r"--([A-Za-z][^=]*)(?:=(.*))?\Z", word, re.S)
        if word == "--":
            return names + todo, options
        if not found:
            names.append(word)
            continue
        if found[2] is None and not todo:
            raise WrongUse(f"{word} needs a value")
        options.append((found[1].replace("-", " "), found[2] if found[2] is not None else todo.pop(0)))
    return names, options


def _merge(options: Sequence[tuple[str, str]]) -> Pairs:
    merged: dict[str, Value] = {}
    for key, value in options:
        if key == "pulley":
            merged.setdefault("pulleys", [])
            _as_list(merged["pulleys"]).append(_mapping(key, value))
        elif key in MAPPINGS:
            kept = merged.setdefault(key, {})
            if isinstance(kept, dict):
                kept.update(_mapping(key, value))
        elif key in LISTS:
            merged.setdefault(key, [])
            _as_list(merged[key]).append(value)
            if ", " in value:
                more = f"for several say --{key.replace(' ', '-')} again for each"
                print(visible(f"warning: {value!r} is one name; {more}"), file=sys.stderr)
        elif key in merged:
            raise WrongUse(f"--{key.replace(' ', '-')} is given twice")
        else:
            merged[key] = value
    return list(merged.items())


def _as_list(value: Value) -> list[Value]:
    if not isinstance(value, list):
        raise WrongUse(f"{value!r} is not a list")
    return value


def _mapping(key: str, text: str) -> dict[str, Value]:
    out: dict[str, Value] = {}
    for piece in text.split(",") if key == "pulley" else [text]:
        name, sign, value = piece.partition("=")
        if not sign or not name.strip():
            raise WrongUse(f"--{key} {text!r} is not NAME=VALUE")
        out[name.strip()] = value.strip()
    return out


# Asked field by field -------------------------------------------------------------------------


def _ask_for_entry(loaded: Whole) -> Pairs:
    if not sys.stdin.isatty():
        raise WrongUse("add needs a KIND, or a terminal to ask on; see `kgraph add --help`")
    for kind, sentence in words.KINDS.items():
        click.echo(f"  {kind:10} {sentence}")
    kind = click.prompt("kind", type=click.Choice(list(words.KINDS)), show_choices=False)
    pairs: Pairs = []
    must = schema.required_of(kind)
    for key in schema.keys_of(kind):
        if key in ("pulleys", "compare", "numbers", "state", "id"):
            continue
        value = _ask_field(loaded, kind, key, key in must)
        if value:
            pairs.append((key, value))
    return pairs


def _ask_field(loaded: Whole, kind: str, key: str, must: bool) -> Value:
    hint = " (several: divide by ;)" if key in LISTS else ""
    while True:
        text = click.prompt(f"{key}{hint}", default=None if must else "", show_default=False).strip()
        if key not in LISTS:
            return _known_name(loaded, kind, key, text)
        return [_known_name(loaded, kind, key, t.strip()) for t in text.split(";") if t.strip()]


def _known_name(loaded: Whole, kind: str, key: str, text: str) -> str:
    """The text, or one of the nearest known names if the user takes it."""
    sorts = _NAMED_BY.get((kind, key)) or _NAMED_BY.get(("", key))
    if not text or not sorts or (key == kind and kind in words.THINGS):
        return text
    data = loaded.data
    known = {n for s in sorts for n in data.known(s).values()}
    if any(data.key(s, fold(text)) in data.known(s) for s in sorts):
        return text
    near = nearest(text, known)
    for number, name in enumerate(near, 1):
        click.echo(f"    {number}: {visible(name)}")
    if not near:
        return text
    taken = click.prompt(
        "    not known yet; take a number, or Enter for a new name", default="", show_default=False
    )
    return near[int(taken) - 1] if taken.isdigit() and 0 < int(taken) <= len(near) else text


_NAMED_BY: dict[tuple[str, str], tuple[str, ...]] = {
    ("rebadge", "rebadge"): ("set",),
    ("uses", "uses"): ("assembly",),
    ("takes", "takes"): ("part",),
    ("same", "same"): ("part",),
    ("replaces", "replaces"): ("part",),
    ("replaces", "old"): ("part",),
    ("fits", "fits"): ("set", "assembly"),
    ("refuses", "refuses"): ("part", "set"),
    ("refuses", "from"): ("position",),
    ("run", "run"): ("position",),
    ("unit", "set"): ("set",),
    ("unit", "wants"): ("position",),
    ("stock", "stock"): ("part",),
    ("taken", "taken"): ("position",),
    ("taken", "from"): ("unit",),
    ("taken", "to"): ("unit",),
    ("restored", "restored"): ("position",),
    ("restored", "to"): ("unit",),
    ("", "in"): ("set", "assembly"),
    ("", "to"): ("set", "assembly"),
    ("", "position"): ("position",),
    ("", "at"): ("position",),
    ("", "except"): ("position", "assembly"),
    ("", "source"): ("source",),
    ("", "caution"): ("caution",),
    ("", "kind"): ("kind",),
}


# Checked, told, written -----------------------------------------------------------------------


def _write(settings: Settings, loaded: Whole, pairs: Pairs, yes: bool, file_name: str | None) -> int:
    folder = settings.folders[0]
    text = writing.entry_text(pairs)
    entry = _checked(text)
    if isinstance(entry, Event):
        return _write_event(settings, loaded, entry, text, yes, file_name)
    _check_beside(loaded, entry)
    target = folder / (file_name or NEW_FILE)
    after = collection.build([*loaded.data.entries, entry])
    with events.told_at_the_end(yes):
        _tell(loaded, after, entry, text)
        if not yes and not events.agreed("write it?"):
            print("nothing was written", file=sys.stderr)
            return 1
        where = writing.append(folder, target, [text]).places[0]
        print(f"written: {visible(where.file)}:{where.line}")
    return 0


def _write_event(
    settings: Settings, loaded: Whole, event: Event, text: str, yes: bool, file_name: str | None
) -> int:
    """Write an event of the shelf behind all earlier ones; where it cannot have been, nothing and 1."""
    folder, seen = settings.folders[0], events.bytes_of(settings)
    loaded = load(settings)
    target = events.file_for_events(loaded, folder, file_name)
    with events.told_at_the_end(yes):
        sys.stdout.write(visible(text.rstrip("\n")).replace("\\n", "\n") + "\n")
        _tell_new_names(loaded, event)
        if not _may_have_been(loaded, event, folder, target):
            print("nothing was written", file=sys.stderr)
            return 1
        if not yes and not events.agreed("write it?"):
            print("nothing was written", file=sys.stderr)
            return 1
        for place in events.append(settings, target, [text], seen):
            print(f"written: {visible(place)}")
    return 0


def _may_have_been(loaded: Whole, event: Event, folder: Path, target: Path) -> bool:
    """Tell what is wrong or doubtful with an event; whether it can have happened."""
    after = events.shelf_with(loaded, [event], folder, target)
    wrong = events.new_problems(loaded, after)
    said = [f"warning: {s}" for s in events.undeclared_units(loaded, event)]
    if events.overtaken(loaded, [event], after):
        said.append(f"warning: {events.OVERTAKEN.format(name=target)}")
    for line in [*said, *(f"{p.severity}: {p.says}" for p in wrong)]:
        print(visible(line), file=sys.stderr)
    return not any(p.severity == "error" for p in wrong)


def _checked(text: str) -> Entry:
    found, every = schema.entries_of(text.encode(), "new entry")
    if not found or any(p.severity == "error" for p in every):
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend, p.severity) for p in every))
    for problem in every:
        print(visible(f"{problem.says}; {problem.mend}"), file=sys.stderr)
    return found[0]


def _check_beside(loaded: Whole, entry: Entry) -> None:
    """Tell what is doubtful with an entry in its folder; raises WrongUse for what is wrong."""
    from kgraph import checks

    found = checks.problems_of_new(loaded.data, entry)
    errors = [p for p in found if p.severity == "error"]
    if errors:
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend) for p in errors), "nothing was written")
    for problem in found:
        print(visible(f"warning: {problem.says}; {problem.mend}"), file=sys.stderr)


def _tell(loaded: Whole, after: collection.Collection, entry: Entry, text: str) -> None:
    sys.stdout.write(visible(text.rstrip("\n")).replace("\\n", "\n") + "\n")
    _tell_new_names(loaded, entry)
    if isinstance(entry, Withdraw) and (event := lookup.event_with_id(loaded.data, entry.target)):
        print(visible(event_says(loaded.data, event)))
        for problem in events.new_problems(loaded, shelf_now(graphs.build(after))):
            print(visible(f"then, at {problem.where}: {problem.says}"), file=sys.stderr)
    changed = _changed_fact(loaded, after, entry)
    if changed is None:
        return
    fact, known = changed
    print(visible(says(after, fact)))
    if known is not None:
        where = known.where or Where("?")
        print(
            f"known already at {visible(str(where))}; this adds evidence, certainty is now {fact.certainty}"
        )
        return
    print(consequences.compare(loaded.graph, graphs.build(after), fact))


def _changed_fact(
    loaded: Whole, after: collection.Collection, entry: Entry
) -> tuple[Fact, Fact | None] | None:
    """The fact that an entry states, takes back or gives back; the same before, where it was known."""
    if not isinstance(entry, Statement):
        return None
    if entry.kind == "withdraw":
        before = loaded.data.facts
        changed = [
            f for i, f in before.items() if i not in after.facts or after.facts[i].evidence != f.evidence
        ]
        changed += [f for i, f in after.facts.items() if i not in before]
        if not changed and isinstance(entry, Withdraw) and lookup.fact_with_id(loaded.data, entry.target):
            says = "this would take nothing back: the same withdrawal was itself taken back before"
            raise WrongUse(f"{says}; say why in other words")
        return (changed[0], None) if changed else None
    for fact in after.facts.values():
        if any(e.where == entry.where and e.where.file == "new entry" for e in fact.evidence):
            return fact, loaded.data.facts.get(fact.id)
    for fact, by in after.withdrawn.values():
        if any(e.where == entry.where for e in fact.evidence):
            raise WrongUse(
                f"this fact was withdrawn at {by.where} ({by.why}); withdraw that first: "
                f"kgraph withdraw {collection.written_id(by)} --why ..."
            )
    if isinstance(entry, collection.FACT_TYPES) and entry.source:
        says = f"what {entry.source.text} says of this was withdrawn, and counts for nothing"
        raise WrongUse(f"{says}; withdraw that withdrawal first: `kgraph show` names the fact")
    return None


def _tell_new_names(loaded: Whole, entry: Entry) -> None:
    data = loaded.data
    for kind, used in collection.names_used(collection.build([*data.entries, entry]), entry):
        key = data.key(kind, used.key)
        if key in data.things[kind] or key in data.spelt[kind]:
            continue
        near = did_you_mean(used.text, data.known(kind).values())
        print(visible(f"new {kind}: {used.text}" + (f" ({near})" if near else "")), file=sys.stderr)
