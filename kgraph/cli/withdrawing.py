"""withdraw: a fact or an entry of a thing is taken back, or all that somebody said."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import click

from kgraph import lookup
from kgraph.api.adding import refuse_gone, refuse_unsaid
from kgraph.api.event_log import NEW_FILE
from kgraph.api.loaded import Loaded
from kgraph.api.taking_back import said_by, sayings_left, taking_back, told_of_several
from kgraph.cli import events
from kgraph.cli.adding import write
from kgraph.cli.exchanging import counted
from kgraph.cli.filling import Pairs
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.collection.fact_ids import saying_id, thing_id
from kgraph.facts import Fact
from kgraph.folder import writing
from kgraph.names import fold
from kgraph.problems import WrongUse
from kgraph.records import Statement, Thing
from kgraph.render.sentences import says
from kgraph.render.terminal import visible
from kgraph.render.things import thing_says

_MOST_SHOWN = 10


@click.command(short_help="take a fact back, or all that somebody said; nothing is deleted")
@click.argument("fact_id", metavar="[ID]", required=False)
@click.option("--why", required=True, help="The reason, kept with the withdrawal.")
@click.option("--source", default="", help="What this source said; without ID all that it said.")
@click.option("--by", default="", help="Who takes back what they said; without ID all that they said.")
@click.option("--via", default="", help="What came by this folder; without ID all that came by it.")
@click.option("--all-sayings", is_flag=True, help="What others say of the fact as well.")
@click.option("--date", default="", help="When.")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@click.pass_obj
def withdraw(
    settings: Settings,
    /,
    fact_id: str | None,
    all_sayings: bool,
    yes: bool,
    file_name: str | None,
    **said: str,
) -> int:
    """Take a fact or an entry of a thing back by its id, as `show` prints it; what was written stays there.

    Of a fact that others say too, what you said is taken back: by --by, --source or --via, else what came
    by no other folder. Without ID everything that was said so is taken back in one append.

    Example: kgraph withdraw 3f9a1c2b7d04e811 --why "misread label" --yes
    """
    loaded = load(settings)
    if not fact_id:
        return _all_said(settings, loaded, said, yes, file_name)
    fact_id = lookup.whole_id(loaded.data, fact_id)
    refuse_gone(loaded.graph, fact_id)
    if said["source"]:
        refuse_unsaid(loaded.graph, fact_id, said["source"])
    if said["via"]:
        _refuse_not_come(loaded, fact_id, said["via"])
    if several := told_of_several(loaded.data, fact_id):
        print(visible(f"warning: {several}"), file=sys.stderr)
    chosen = any(said[key] for key in ("source", "by", "via"))
    thing = lookup.thing_with_id(loaded.data, fact_id)
    if thing and not lookup.fact_with_id(loaded.data, fact_id):
        return write(settings, loaded, [_of_thing(thing, said)], yes, file_name)
    own = [] if chosen or all_sayings else _own_beside_others(loaded.data, fact_id)
    meant = _meant(loaded.data, said) if chosen else None
    targets = [saying_id(r.pairs) for r in own] or taking_back(loaded.data, fact_id, meant).targets
    told = [*_told(said), *([("all sayings", "yes")] if all_sayings else [])]
    entries: list[Pairs] = [[("withdraw", target), *told] for target in targets]
    return write(settings, loaded, entries, yes, file_name)


def _told(said: dict[str, str]) -> Pairs:
    return [(key, said[key]) for key in ("why", "source", "by", "via", "date") if said[key]]


def _of_thing(thing: Thing, said: dict[str, str]) -> Pairs:
    """The withdrawal of an entry of a thing. Its id tells by whose folder it came; this is our own word."""
    return [("withdraw", thing_id(thing)), *(pair for pair in _told(said) if pair[0] != "via")]


def _own_beside_others(data: Collection, fact_id: str) -> list[Statement]:
    """What we say of a fact ourselves, where it came by another folder too."""
    fact = lookup.fact_as_said(data, fact_id)
    every = sayings_left(data, fact) if fact else []
    own = [r for r in every if not r.via]
    return own if len(own) < len(every) else []


def _refuse_not_come(loaded: Loaded, fact_id: str, via: str) -> None:
    fact, thing = lookup.fact_as_said(loaded.data, fact_id), lookup.thing_with_id(loaded.data, fact_id)
    said = sayings_left(loaded.data, fact) if fact else [thing] if thing else []
    came = {r.via[0].key for r in said if r.via}
    if fold(via) not in came:
        raise WrongUse(f"it did not come by the folder of {via!r}; `kgraph show {fact_id}` tells who says it")


# All that somebody said -------------------------------------------------------------------------


def _all_said(
    settings: Settings, loaded: Loaded, said: dict[str, str], yes: bool, file_name: str | None
) -> int:
    """Take back all that was said so, told before; raises WrongUse where nothing was."""
    data = loaded.data
    is_meant = _meant(data, said)
    found: list[tuple[Fact, bool]] = []
    for fact in data.facts_as_said():
        meant = [is_meant(record) for record in sayings_left(data, fact)]
        if any(meant):
            found.append((fact, all(meant)))
    entries = [e for e in data.standing if isinstance(e, Thing) and is_meant(e)]
    if not found and not entries:
        who = ", ".join(f"--{key} {said[key]}" for key in ("by", "source", "via") if said[key])
        raise WrongUse(f"nothing is said so: {who}")
    _show(data, found)
    _show_things(entries)
    if not yes and not events.agreed("write it?"):
        return 1
    folder = settings.folders[0]
    targets = [t for fact, _ in found for t in taking_back(data, fact.id, is_meant).targets]
    texts = [writing.entry_text([("withdraw", target), *_told(said)]) for target in targets]
    texts += dict.fromkeys(writing.entry_text(_of_thing(thing, said)) for thing in entries)
    written = writing.append(folder, Path(folder) / (file_name or NEW_FILE), texts)
    print(f"written: {counted(len(texts), 'withdrawal')} to {visible(written.places[0].file)}")
    return 0


def _meant(data: Collection, said: dict[str, str]) -> Callable[[Statement | Thing], bool]:
    """Whether an entry is one of those to be taken back; raises WrongUse where nothing says which."""
    if not any(said[key] for key in ("by", "source", "via")):
        raise WrongUse("say which: the ID of a fact, or --by, --source or --via for all that was said so")
    source, via = data.key("source", fold(said["source"])), data.key("via", fold(said["via"]))

    def is_meant(record: Statement | Thing) -> bool:
        by_source = source in {data.key("source", n.key) for n in record.sources}
        by_via = record.via and data.key("via", record.via[0].key) == via
        return bool(
            (not said["by"] or fold(said_by(record)) == fold(said["by"]))
            and (not said["source"] or by_source)
            and (not said["via"] or by_via)
        )

    return is_meant


def _show(data: Collection, found: list[tuple[Fact, bool]]) -> None:
    """What is taken away, and what stays because others say it too."""
    for fact, whole in found[:_MOST_SHOWN]:
        stays = "" if whole else " (others say it too, and it stays)"
        print(visible(f"{fact.id}  {says(data, fact)}{stays}"))
    if len(found) > _MOST_SHOWN:
        print(f"and {len(found) - _MOST_SHOWN} more")
    if not found:
        return
    gone = sum(whole for _, whole in found)
    stay = len(found) - gone
    print(
        f"{counted(gone, 'fact')} no longer count{'s' * (gone == 1)}, "
        f"{stay} stay{'s' * (stay == 1)} by what others say"
    )


def _show_things(entries: list[Thing]) -> None:
    """What is said of things no more."""
    for thing in entries[:_MOST_SHOWN]:
        print(visible(f"{thing_id(thing)}  {thing_says(thing)}"))
    if len(entries) > _MOST_SHOWN:
        print(f"and {len(entries) - _MOST_SHOWN} more")
    if entries:
        one = len(entries) == 1
        print(f"{counted(len(entries), 'entry')} of things no longer count{'s' * one}")
