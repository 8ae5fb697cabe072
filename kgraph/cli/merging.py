"""merge: what somebody else's fact folder says, added to this one with where it came from."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import click

from kgraph import collection, photographs
from kgraph.api import event_log
from kgraph.api.leaving import problem_json, refusal
from kgraph.checks.newcomers import Newcomer
from kgraph.checks.newcomers import newcomers as newcomers_of
from kgraph.cli import newcomers
from kgraph.cli.asking import print_json
from kgraph.cli.exchanging import (
    MOST_SHOWN,
    counted,
    kinds_of,
    load_or_empty,
    show_texts,
    slug,
    target_for,
)
from kgraph.cli.numbers import Within
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.collection.trusting import via_trust
from kgraph.exchange import foreign
from kgraph.exchange import merge as merging
from kgraph.exchange.merge import Merged, MergeWishes
from kgraph.folder import disk, schema, writing
from kgraph.names import fold
from kgraph.problems import CannotRun, Problem, WrongUse, in_order
from kgraph.records import Entry
from kgraph.render.sentences import says as fact_says
from kgraph.render.terminal import visible

LEAST_TRUST = 0.001


@dataclass(frozen=True)
class _Outcome:
    """What merging would do or did."""

    merged: Merged
    texts: list[str]
    new: list[Entry]
    conflicts: list[Problem]
    read: int
    target: Path | None
    written: bool
    names: list[Newcomer]


@click.command(short_help="what another fact folder says, with where it came from")
@click.argument("theirs", type=click.Path(path_type=Path), metavar="THEIRS")
@click.option(
    "--dry-run", is_flag=True, help="Show all that would be added and every conflict; write nothing."
)
@click.option(
    "--trust",
    type=Within(LEAST_TRUST, 1),
    default=None,
    help="What their word counts: the certainty of each saying times it. Default: as last time, else 1.",
)
@click.option(
    "--as", "origin", default="", metavar="NAME", help="What to call their folder. Default: its name."
)
@click.option("--date", "day", default="", help="When it is merged; today if nothing is said.")
@click.option("--shelf", is_flag=True, help="Take over their units, loose parts and what was taken as well.")
@click.option("--skip-bad", is_flag=True, help="Leave out what of theirs cannot be read, and list it.")
@click.option("--yes", is_flag=True, help="Also write new places that are nearly known ones.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def merge(
    settings: Settings,
    /,
    theirs: Path,
    dry_run: bool,
    trust: float | None,
    origin: str,
    day: str,
    shelf: bool,
    skip_bad: bool,
    yes: bool,
    as_json: bool,
) -> int:
    """Add what another fact folder says and this one does not, marked with where it came from.

    The same fact from both is one fact with both sources. Where the two differ, ours is kept and the conflict
    is told. Merged again, what is new there is added, and what is no longer said there is taken back for them
    alone; what they took back and we say ourselves is asked about on a terminal, one by one, else told with
    its id. All goes to one file, or nothing.

    Example: kgraph merge ../anna --trust 0.7 --dry-run
    """
    _refuse_ourselves(settings, theirs)
    _refuse_name(origin or theirs.resolve().name)
    other = _theirs(theirs, skip_bad)
    seen = event_log.bytes_of(settings.folders)
    loaded = load_or_empty(settings)
    named = loaded.data.text("via", loaded.data.key("via", fold(origin or theirs.resolve().name)))
    known = via_trust(loaded.data, loaded.data.key("via", fold(named)))
    named = named if known is not None else origin or theirs.resolve().name
    counts = trust if trust is not None else 1.0 if known is None else known
    wanted = MergeWishes(named, counts, shelf, day or date.today().isoformat())
    with steps("merging"):
        merged = merging.merge(loaded.data, other, wanted)
    if not _is_another(merged, wanted, yes or dry_run):
        print("nothing was written", file=sys.stderr)
        return 1
    if not dry_run and not yes and sys.stdin.isatty():
        _ask_of_ours(loaded.data, merged, wanted)
    with steps("merging"):
        texts = [writing.entry_text(pairs) for pairs in merged.entries]
        new = _parsed(texts, merged.entries_there)
        conflicts = in_order([*merged.conflicts, *merging.conflicts_between(loaded.data, other, new)])
    target = target_for(settings, loaded, f"merged-{slug(wanted.origin)}", new) if texts else None
    names = newcomers.told_in_bulk(newcomers_of(loaded.data, new))
    newcomers.tell(names)
    if texts and not dry_run and not newcomers.agreed(names, yes):
        print("nothing was written", file=sys.stderr)
        return 1
    written = bool(texts) and not dry_run
    outcome = _Outcome(merged, texts, new, conflicts, len(other.entries), target, written, names)
    if outcome.written and target:
        _bring_pictures(settings, theirs, new)
        event_log.append(settings.folders, target, texts, seen)
    _show_json(theirs, wanted, dry_run, outcome) if as_json else _show(outcome, dry_run)
    return 0


def _is_another(merged: Merged, wanted: MergeWishes, yes: bool) -> bool:
    """Whether a folder that brings what another name brought is another one.

    Raises WrongUse where nobody can be asked and `yes` was not said.
    """
    if merged.like is None:
        return True
    name, same, of = merged.like
    says = f"{same} of the {of} sayings that came by {name} are said here as well, under {wanted.origin}"
    mend = f"if it is the same folder say --as {name!r}"
    if yes:
        print(visible(f"warning: {says}; {mend}"), file=sys.stderr)
        return True
    if not sys.stdin.isatty():
        raise WrongUse(f"{says}; {mend}, if it is another --yes", "nothing was written")
    print(visible(f"{says}; {mend}"), file=sys.stderr)
    return click.confirm(visible(f"is {wanted.origin} another folder than {name}?"))


def _ask_of_ours(data: Collection, merged: Merged, wanted: MergeWishes) -> None:
    """Ask of each fact that they took back and we say ourselves whether ours is to go too."""
    for back in merged.against:
        why = f" ({back.by.why})" if back.by.why else ""
        print(visible(f"{back.fact.id}  {fact_says(data, back.fact)}"))
        if click.confirm(visible(f"{wanted.origin} took it back{why}; take back what we say of it too?")):
            for pairs in back.entries(wanted.origin, wanted.date):
                merged.add(back.by, pairs)


def _bring_pictures(settings: Settings, theirs: Path, new: Sequence[Entry]) -> None:
    """Keep the pictures that new entries name; tell those that their folder does not hold whole."""
    pictures, missing = photographs.brought(theirs, new)
    photographs.keep(settings.folders[0], pictures)
    for path in missing:
        print(visible(f"warning: {path} is not in their folder as it was kept"), file=sys.stderr)


def _refuse_ourselves(settings: Settings, theirs: Path) -> None:
    there = theirs.resolve()
    for folder in settings.folders:
        here = folder.resolve()
        if there == here or there.is_relative_to(here) or here.is_relative_to(there):
            raise WrongUse(
                f"{visible(str(theirs))} and {visible(str(folder))} are one folder, or one in the other"
            )


def _refuse_name(origin: str) -> None:
    """Raise WrongUse for a name that no source can have, or that would not be read back from a note."""
    problems: Sequence[Problem | str]
    if set(origin) & set("[]\n"):
        problems = ["it holds a bracket or a line end"]
    else:
        text = writing.entry_text([("source", os.fsencode(origin).decode(errors="backslashreplace"))])
        problems = schema.entries_of(text.encode(), "")[1]
    if problems:
        why = ", ".join(p if isinstance(p, str) else p.says for p in problems)
        raise WrongUse(f"their folder cannot be called {origin!r}: {why}; give it a name by --as NAME")


def _theirs(theirs: Path, skip_bad: bool) -> Collection:
    """The other folder; raises CannotRun with every fault of it, unless what is bad is skipped."""
    with steps("reading"):
        entries, problems = foreign.read(theirs)
    errors = [p for p in problems if p.severity == "error"]
    if errors and not skip_bad:
        raise refusal(errors, "nothing was written; --skip-bad leaves out what of theirs cannot be read")
    for problem in errors:
        print(visible(f"skipped: {problem}"), file=sys.stderr)
    return collection.build(entries)


def _parsed(texts: Sequence[str], come: Sequence[Entry]) -> list[Entry]:
    """The entries as they will be read, each with its place in the other folder."""
    found: list[Entry] = []
    for text, entry in zip(texts, come, strict=True):
        entries, problems = schema.entries_of(text.encode(), entry.where.file)
        if errors := [p for p in problems if p.severity == "error"]:
            raise CannotRun(*(p._replace(where=entry.where) for p in errors))
        found += [e.changed(where=entry.where) for e in entries]
    return found


# Told -----------------------------------------------------------------------------------------


def _show(outcome: _Outcome, dry_run: bool) -> None:
    show_texts(outcome.texts, len(outcome.texts) if dry_run else MOST_SHOWN)
    for problem in outcome.conflicts:
        print(visible(f"conflict: {problem}"), file=sys.stderr)
    if outcome.merged.shelf:
        left = counted(outcome.merged.shelf, "entry")
        print(f"{left} of their shelf left out; --shelf takes them over", file=sys.stderr)
    print(_summary(outcome))
    if outcome.target and outcome.written:
        print(f"written: {counted(len(outcome.texts), 'entry')} to {visible(disk.display(outcome.target))}")
    elif outcome.target:
        print(f"nothing was written; without --dry-run it goes to {visible(disk.display(outcome.target))}")


def _summary(outcome: _Outcome) -> str:
    told = f"{counted(outcome.read, 'entry')} read, {outcome.merged.already} there already"
    if outcome.conflicts:
        told += f", {counted(len(outcome.conflicts), 'conflict')}"
    if not outcome.texts:
        return f"nothing new: {told}"
    return f"new: {kinds_of(outcome.new)}; {told}"


def _show_json(theirs: Path, wanted: MergeWishes, dry_run: bool, outcome: _Outcome) -> None:
    question = {
        "command": "merge",
        "theirs": disk.display(theirs),
        "as": wanted.origin,
        "trust": wanted.trust,
        "shelf": wanted.shelf,
        "dry run": dry_run,
    }
    found: dict[str, Any] = {
        "question": question,
        "answers": [
            {"entry": dict(pairs), "file": entry.where.file, "line": entry.where.line}
            for pairs, entry in zip(outcome.merged.entries, outcome.new, strict=True)
        ],
        "new names": [{"kind": n.kind, "name": n.name, "near": n.near or None} for n in outcome.names],
        "already": outcome.merged.already,
        "conflicts": [problem_json(p) for p in outcome.conflicts],
        "shelf left out": outcome.merged.shelf,
        "written": disk.display(outcome.target) if outcome.written and outcome.target else None,
        "notes": [_summary(outcome)],
    }
    print_json(found)
