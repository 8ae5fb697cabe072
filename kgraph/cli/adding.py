"""add: an entry is checked, its consequence is shown, then it is appended."""

from __future__ import annotations

import re
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from kgraph import collection, consequences, lookup, words
from kgraph.api import adding as checked
from kgraph.api import event_log
from kgraph.api.entries import checked as read_new
from kgraph.api.entries import kind_and_names, with_pictures
from kgraph.api.event_log import NEW_FILE
from kgraph.api.loaded import Loaded
from kgraph.checks.newcomers import Newcomer
from kgraph.checks.newcomers import newcomers as newcomers_of
from kgraph.cli import events, newcomers
from kgraph.cli.filling import Pairs, Value, ask_for_entry, joined, mapping
from kgraph.cli.loading import load
from kgraph.cli.picturing import full_option
from kgraph.cli.settings import Settings
from kgraph.events import Event
from kgraph.fits import graph as graphs
from kgraph.folder import entry_keys, writing
from kgraph.photographs import Picture, keep
from kgraph.problems import Where, WrongUse
from kgraph.records import Entry, Withdraw
from kgraph.render.event_words import event_says
from kgraph.render.sentences import says
from kgraph.render.terminal import visible
from kgraph.render.things import thing_says
from kgraph.shelf.ledger import shelf_now
from kgraph.usual_keys import PARTS, Key, of_kind, of_part, several
from kgraph.words import LISTS, is_mapping

_KIND = "kgraph.add.kind"
"""Where the help finds the kind that is asked about."""
_ADD_SETTINGS = {"ignore_unknown_options": True, "allow_extra_args": True}


class _Add(click.Command):
    """The command `add`, whose help for one kind lists the keys of that kind."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_KIND] = next((word for word in args if word in words.KINDS), None)
        return super().parse_args(ctx, args)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        kind = ctx.meta.get(_KIND)
        if kind is None:
            super().format_help(ctx, formatter)
            return
        formatter.write_usage("kgraph", f"add {kind} {_name_shown(kind)} [--KEY VALUE]...")
        formatter.write_paragraph()
        _say(formatter, f"{words.KINDS[kind].capitalize()}. Each key with an example:")
        _write_keys(formatter, "Keys", kind, of_kind(kind))
        if kind == "part":
            for sort in PARTS:
                _write_keys(formatter, f"Of a {sort}", kind, of_part(sort))
        formatter.write_paragraph()
        _say(formatter, f"A list is given by its key again for each. Example: {_example(kind)}")
        self.format_options(ctx, formatter)


def _say(formatter: click.HelpFormatter, text: str) -> None:
    formatter.write(click.wrap_text(text, formatter.width) + "\n")


def _name_shown(kind: str) -> str:
    return "NAME NAME" if kind in ("rebadge", "same") else "ID" if kind == "withdraw" else "NAME"


def _write_keys(formatter: click.HelpFormatter, title: str, kind: str, keys: Sequence[Key]) -> None:
    rows = []
    for key in keys:
        option = _name_shown(kind) if key.name == kind else f"--{_option(key.name)}"
        says = f"; {key.says}" if key.says else ""
        must = ", needed" if key.name in entry_keys.required_of(kind) and key.name != kind else ""
        rows.append((option, f"{_quoted(key)}{says}{must}"))
    with formatter.section(title):
        formatter.write_dl(rows)


def _option(key: str) -> str:
    return "pulley" if key == "pulleys" else key.replace(" ", "-")


def _quoted(key: Key) -> str:
    return " ".join(shlex.quote(one.strip()) for one in key.example.split(";"))


def _example(kind: str) -> str:
    """A whole command that adds an entry of a kind, with the keys that it needs and a few more."""
    asked = [key for key in of_kind(kind) if key.asked and key.example]
    needed = [k for k in asked[1:] if k.name in entry_keys.required_of(kind)]
    more = [k for k in asked[1:] if k not in needed][: 3 - len(needed)]
    each = (
        (k.name, one.strip()) for k in asked[1:] if k in needed or k in more for one in k.example.split(";")
    )
    said = " ".join(f"--{_option(name)} {shlex.quote(one)}" for name, one in each)
    return f"kgraph add {kind} {_quoted(asked[0])} {said}".rstrip()


@click.command(cls=_Add, context_settings=_ADD_SETTINGS, short_help="append an entry, checked first")
@click.argument("kind", required=False)
@click.argument("rest", nargs=-1, type=click.UNPROCESSED, metavar="[NAME]... [--KEY VALUE]...")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@full_option
@click.pass_obj
def add(
    settings: Settings,
    kind: str | None,
    rest: tuple[str, ...],
    yes: bool,
    file_name: str | None,
    full: bool,
) -> int:
    """Append an entry of any kind. Without KIND it asks, field by field.

    `kgraph add KIND --help` lists the keys of a kind, each with an example.

    A key of the entry is an option: --how fitted, --both-ways yes, --except "dial scale" (again for
    each further one), --state "dial glass=cracked", --numbers "Larkfield=440 1882". --photo FILE copies a
    picture into the folder, upright and without its metadata.

    Example: kgraph add rebadge "Larkfield LK-40" "Orvanek 2200" --except "line socket" --how compared --yes
    """
    loaded = load(settings)
    pairs = ask_for_entry(loaded) if kind is None else _pairs_of(kind, rest)
    pairs, pictures = with_pictures(pairs, settings.folders[0], full)
    return write(settings, loaded, [pairs], yes, file_name, pictures)


# From the command line to pairs ---------------------------------------------------------------


def _pairs_of(kind: str, rest: Sequence[str]) -> Pairs:
    names, options = _split(rest)
    return [kind_and_names(kind, names), *merged_options(kind, options)]


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


_SEEN_ON_A_SET = ("bands", "features")
"""Keys of a set that are lists, and of which no single value has a comma."""


def merged_options(kind: str, options: Sequence[tuple[str, str]]) -> Pairs:
    """Keys with their values, each once: what is said again adds to a list or a mapping."""
    merged: dict[str, Value] = {}
    for key, value in options:
        if ", " in value and (key in LISTS or key in _SEEN_ON_A_SET):
            more = f"for several say --{key.replace(' ', '-')} again for each"
            print(visible(f"warning: {value!r} is taken for one; {more}"), file=sys.stderr)
        if key == "pulley":
            merged.setdefault("pulleys", [])
            _as_list(merged["pulleys"]).append(mapping("--pulley", value, ","))
        elif is_mapping(kind, key):
            kept = merged.setdefault(key, {})
            if isinstance(kept, dict):
                merged[key] = joined([kept, mapping(f"--{key}", value)])
        elif key in LISTS:
            merged.setdefault(key, [])
            _as_list(merged[key]).append(value)
        elif key in merged and key in several(kind):
            before = merged[key]
            merged[key] = [*(before if isinstance(before, list) else [before]), value]
        elif key in merged:
            raise WrongUse(f"--{key.replace(' ', '-')} is given twice")
        else:
            merged[key] = value
    return list(merged.items())


def _as_list(value: Value) -> list[Value]:
    if not isinstance(value, list):
        raise WrongUse(f"{value!r} is not a list")
    return value


# Checked, told, written -----------------------------------------------------------------------


def write(
    settings: Settings,
    loaded: Loaded,
    wanted: Sequence[Pairs],
    yes: bool,
    file_name: str | None,
    pictures: Sequence[Picture] = (),
) -> int:
    """Check entries, tell what comes of them and append all or none; 1 where the user does not agree.

    The pictures that they name are kept before the entries are written.
    """
    folder = settings.folders[0]
    texts = [writing.entry_text(pairs) for pairs in wanted]
    entries = [_checked(text) for text in texts]
    if any(isinstance(entry, Event) for entry in entries):
        texts = event_log.told_anew(loaded.graph, texts)
        entries = [_checked(text) for text in texts]
        return _write_events(settings, entries, texts, yes, file_name, pictures)
    for problem in checked.doubts_beside(loaded.graph, entries):
        print(visible(f"warning: {problem.says}; {problem.mend}"), file=sys.stderr)
    target = folder / (file_name or NEW_FILE)
    after = collection.build([*loaded.data.entries, *entries])
    with events.told_at_the_end(yes):
        _show(texts)
        new = _tell_new_names(loaded, entries)
        _tell(loaded, after, entries)
        if not newcomers.agreed(new, yes) or (not yes and not events.agreed("write it?")):
            print("nothing was written", file=sys.stderr)
            return 1
        keep(folder, pictures)
        for where in writing.append(folder, target, texts).places:
            print(f"written: {visible(where.file)}:{where.line}")
    return 0


def _tell_new_names(loaded: Loaded, entries: Sequence[Entry]) -> list[Newcomer]:
    """Tell the names that the folder does not know, and the places that may be slips."""
    found = newcomers_of(loaded.data, entries)
    told = [n for n in found if n.doubtful or not n.declared]
    newcomers.tell(told)
    return told


def _write_events(
    settings: Settings,
    entries: Sequence[Entry],
    texts: Sequence[str],
    yes: bool,
    file_name: str | None,
    pictures: Sequence[Picture],
) -> int:
    """Write events of the shelf behind all earlier ones; where they cannot have been, nothing and 1."""
    folder, seen = settings.folders[0], event_log.bytes_of(settings.folders)
    loaded = load(settings)
    target = event_log.file_for_events(loaded.graph, folder, file_name)
    with events.told_at_the_end(yes):
        _show(texts)
        new = _tell_new_names(loaded, entries)
        if not _may_have_been(loaded, entries, folder, target):
            print("nothing was written", file=sys.stderr)
            return 1
        if not newcomers.agreed(new, yes) or (not yes and not events.agreed("write it?")):
            print("nothing was written", file=sys.stderr)
            return 1
        keep(folder, pictures)
        for place in event_log.append(settings.folders, target, texts, seen):
            print(f"written: {visible(place)}")
    return 0


def _show(texts: Sequence[str]) -> None:
    """New entries, line by line: an escape in a text of it must not look like a line end."""
    for text in texts:
        print("\n".join(map(visible, text.rstrip("\n").split("\n"))))


def _may_have_been(loaded: Loaded, entries: Sequence[Entry], folder: Path, target: Path) -> bool:
    """Tell what is wrong or doubtful with events; whether they can have happened."""
    doubts, wrong = checked.doubts_of_events(loaded.graph, entries, folder, target)
    said = [f"warning: {doubt}" for doubt in doubts]
    for line in [*said, *(f"{p.severity}: {p.says}" for p in wrong)]:
        print(visible(line), file=sys.stderr)
    return not any(p.severity == "error" for p in wrong)


def _checked(text: str) -> Entry:
    entry, doubts = read_new(text)
    for problem in doubts:
        print(visible(f"{problem.says}; {problem.mend}"), file=sys.stderr)
    return entry


def _tell(loaded: Loaded, after: collection.Collection, entries: Sequence[Entry]) -> None:
    """What entries change in the answers; of several, the last is what the others make way for."""
    for entry in entries:
        if isinstance(entry, Withdraw) and (event := lookup.event_with_id(loaded.data, entry.target)):
            print(visible(event_says(loaded.data, event)))
            for problem in event_log.new_problems(loaded.graph, shelf_now(graphs.build(after))):
                print(visible(f"then, at {problem.where}: {problem.says}"), file=sys.stderr)
    before = [lookup.fact_as_said(loaded.data, e.target) for e in entries[:-1] if isinstance(e, Withdraw)]
    corrected = [fact for fact in before if fact is not None]
    for old in corrected:
        print(visible(f"until now: {says(loaded.data, old)}"))
    for thing in (lookup.thing_with_id(loaded.data, e.target) for e in entries if isinstance(e, Withdraw)):
        if thing is not None:
            print(visible(f"until now: {thing_says(thing)}"))
    changed = checked.changed_fact(loaded.graph, after, entries[-1])
    if changed is None:
        return
    fact, known = changed
    print(visible(says(after, fact)))
    if known is not None and not corrected:
        where = known.where or Where("?")
        print(
            f"known already at {visible(str(where))}; this adds evidence, certainty is now {fact.certainty}"
        )
        return
    print(consequences.compare(loaded.graph, graphs.build(after), *corrected, fact))
