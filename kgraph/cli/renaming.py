"""rename: a thing is shown by a new name from now on, and known by every name that it ever had."""

from __future__ import annotations

from datetime import date

import click

from kgraph import words
from kgraph.api.event_log import NEW_FILE
from kgraph.cli.adding import write
from kgraph.cli.filling import Pairs
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.folder import entry_keys
from kgraph.names import did_you_mean, fold
from kgraph.problems import WrongUse
from kgraph.records import plain


@click.command(short_help="another name for a thing, which keeps all that it ever had")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--kind", type=click.Choice(list(words.THINGS)), help="What OLD is, if that is not plain.")
@click.option("--date", "day", default="", help="When; today if nothing is said.")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--file", "file_name", default=None, metavar="FILE", help=f"File of the folder; default {NEW_FILE}."
)
@click.pass_obj
def rename(
    settings: Settings, old: str, new: str, kind: str | None, day: str, yes: bool, file_name: str | None
) -> int:
    """Show a thing by a new name. Nothing else is written anew: what names it by an older one still means it.

    Facts keep their ids, so withdrawals, corrections and what others say of it still find them.

    Example: kgraph rename "Larkfield LK-40" "Larkfield LK-40 Mark 1" --yes
    """
    loaded = load(settings)
    of_kind = _kind_of(loaded.data, old, kind)
    _refuse_taken(loaded.data, of_kind, old, new)
    pairs = _renamed(loaded.data, of_kind, old, new, day or date.today().isoformat())
    return write(settings, loaded, [pairs], yes, file_name)


def _kind_of(data: Collection, old: str, kind: str | None) -> str:
    """The kind of the thing with a name; raises WrongUse where none or several have it."""
    key = fold(old)
    kinds = [
        k for k in ([kind] if kind else words.THINGS) if k != "stock" and data.knows(k, data.key(k, key))
    ]
    if not kinds:
        names = (name for k in words.THINGS for name in data.known(k).values())
        raise WrongUse(f"nothing is called {old!r}; {did_you_mean(old, names) or 'see `kgraph find`'}")
    if len(kinds) > 1:
        raise WrongUse(f"{old!r} is the name of a {' and of a '.join(kinds)}; say which by --kind")
    return kinds[0]


def _refuse_taken(data: Collection, kind: str, old: str, new: str) -> None:
    """Raise WrongUse for a name that something else of the kind has, or that changes nothing."""
    key, wanted = data.key(kind, fold(old)), data.key(kind, fold(new))
    if wanted != key and (data.knows(kind, wanted) or data.meanings(kind, fold(new))):
        says = f"{new!r} is another {kind} already; two things do not become one by a name"
        raise WrongUse(f"{says}: `kgraph add` says how they are related")
    if wanted == key and data.text(kind, key) == new:
        raise WrongUse(f"it is called {new!r} already; nothing was written")


def _renamed(data: Collection, kind: str, old: str, new: str, day: str) -> Pairs:
    """The entry: the name that the thing is kept under, what such an entry must have, and the new name."""
    key = data.key(kind, fold(old))
    declared = data.things[kind].get(key, [])
    first = declared[0].name.text if declared else data.text(kind, key)
    needed = {
        k: plain(v) for t in reversed(declared) for k, v in t.pairs if k in entry_keys.required_of(kind)
    }
    needed.pop(kind, None)
    return [(kind, first), *needed.items(), ("called", new), ("date", day)]
