"""query: a SPARQL query over the folder, one that is shipped or one of the user's own."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

import click

from kgraph.api import asked_queries
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import print_json
from kgraph.cli.numbers import Within
from kgraph.cli.opening import opened, opened_whole
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.problems import WrongUse
from kgraph.render.terminal import table, visible, wrapped

if TYPE_CHECKING:
    from kgraph.exchange.apart import Job
    from kgraph.exchange.engines import Result


@click.command(
    short_help="a SPARQL query over the folder",
    context_settings={"ignore_unknown_options": True},
)
@click.argument("words", nargs=-1, type=click.UNPROCESSED, metavar="[NAME | FILE.rq]")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.option(
    "--engine", type=click.Choice(asked_queries.ENGINES), help="Default: pyoxigraph where it is installed."
)
@click.option("--endpoint", metavar="URL", help="Ask a SPARQL endpoint that holds the folder's export.")
@click.option(
    "--seconds", type=Within(asked_queries.LEAST_S, asked_queries.LONGEST_S),
    default=asked_queries.SECONDS, show_default=True, help="The query is ended after this time.",
)  # fmt: skip
@click.option(
    "--inferred", is_flag=True, help="Also ask the answers of `takers` for every part, with their certainty."
)
@click.pass_obj
def query(
    settings: Settings,
    words: tuple[str, ...],
    as_json: bool,
    engine: str | None,
    endpoint: str | None,
    seconds: float,
    inferred: bool,
) -> int:
    """A SPARQL 1.1 query over the folder: one of those shipped, by its name, or a file of your own.

    Without a name it lists them, each with what it may be given: --set, --part, --position and so on.
    With --inferred a query of your own may ask `?answer a k:Inferred ; k:part ?part ; k:place ?place ;
    k:certainty ?certainty`; an endpoint has what its export was made with.

    Example: kgraph query takers --part K-114
    """
    name, given = _parted(words)
    if name is None:
        return _list(given, as_json)
    asking = asked_queries.asking(
        name, given, engine=engine, url=endpoint, seconds=seconds, inferred=inferred
    )
    from kgraph.exchange import apart

    if endpoint is not None:
        # It has data of its own: the folder is read only for the names that are given.
        loaded = opened(settings) if given else None
        found = asked_queries.answered(asking, loaded and loaded.data, lambda job: apart.run(job, ()))
        return _give(loaded, found, as_json)
    if store := _store(settings, asking):
        with suppress(asked_queries.StoreIsBad):
            return _from_store(settings, opened(settings), asking, store, as_json)
    return _from_files(opened_whole(settings), asking, as_json)


def _from_files(loaded: Loaded, asking: asked_queries.Asking, as_json: bool) -> int:
    from kgraph.exchange import apart

    _tell_of_time(loaded, asking.job)
    found = asked_queries.answered(
        asking, loaded.data, lambda job: apart.run(job, _statements(loaded, asking.inferred))
    )
    return _give(loaded, found, as_json)


def _store(settings: Settings, asking: asked_queries.Asking) -> str | None:
    if settings.suppose or settings.without:
        return None
    return asked_queries.store_of(asking, settings.shown, lambda: _statements(opened_whole(settings), False))


def _from_store(
    settings: Settings, loaded: Loaded, asking: asked_queries.Asking, store: str, as_json: bool
) -> int:
    found = asked_queries.answered(
        asking, loaded.data, lambda job: asked_queries.over_store(settings.shown, store, job)
    )
    return _give(loaded, found, as_json)


STATEMENTS_S = 12_000
"""How many statements rdflib reads in a second, on a slow machine: measured, not promised."""
STATEMENTS_OF_A_FACT = 60
"""With the graph by place, in a large folder: measured as well."""
LONG_S = 5


def _tell_of_time(loaded: Loaded, job: Job) -> None:
    """Before rdflib starts on a large folder: that it will take long, and what would be quicker."""
    wanted = len(loaded.data.facts) * STATEMENTS_OF_A_FACT / STATEMENTS_S
    if job.engine == "rdflib" and wanted > LONG_S:
        says = f"rdflib needs about {wanted:.0f} s to read {len(loaded.data.facts)} facts, then asks them"
        if wanted > job.seconds:
            says += f", and is ended after {job.seconds:g} s (--seconds)"
        mend = "quicker: pip install 'kgraph[fast]', or `kgraph takers`, `donors` and `sisters`"
        print(f"{says}; {mend}", file=sys.stderr, flush=True)


def _statements(loaded: Loaded, inferred: bool) -> Iterator[bytes]:
    with steps("inferring", len(loaded.data.known("part")) if inferred else None) as step:
        yield from asked_queries.statements(loaded.graph, inferred, step)


# What was asked -------------------------------------------------------------------------------


def _parted(words: tuple[str, ...]) -> tuple[str | None, dict[str, str]]:
    """The query's name, and the values by the option that gives each."""
    name: str | None = None
    given: dict[str, str] = {}
    rest = list(words)
    while rest:
        word = rest.pop(0)
        if not word.startswith("--"):
            if name is not None:
                raise WrongUse(
                    f"one query at a time, and {word!r} is a second; put a name of several words in quotes"
                )
            name = word
            continue
        option, has_value, value = word[2:].partition("=")
        if not has_value and not rest:
            raise WrongUse(f"{word} wants a value")
        if option in given:
            raise WrongUse(f"--{option} is given twice")
        given[option] = value if has_value else rest.pop(0)
    return name, given


def _list(given: Mapping[str, str], as_json: bool) -> int:
    if given:
        raise WrongUse("which query is that for? `kgraph query` lists them")
    if as_json:
        print_json(asked_queries.shipped_json())
        return 0
    queries = asked_queries.shipped()
    cells = [[q.name, q.title, " ".join(asked_queries.options(q))] for q in queries]
    asks = [[q.asks] for q in queries]
    sys.stdout.write(table(("query", "title", "takes"), cells, sys.stdout.isatty(), asks))
    return 0


# What came of it ------------------------------------------------------------------------------


def _give(loaded: Loaded | None, answered: asked_queries.Answered, as_json: bool) -> int:
    """Print what was found."""
    if as_json:
        print_json(answered.said, loaded)
    else:
        _print(answered.result)
        _print_cautions(answered.cautions)
        notes = answered.said["notes"]
        if not answered.found:
            notes = ["nothing found", *(n for n in notes if n != asked_queries.NOTE)]
        for note in notes:
            print(note, file=sys.stderr)
    return 0 if answered.found else 1


def _print_cautions(texts: Mapping[str, str]) -> None:
    for name, text in texts.items():
        line = f"Caution, {visible(name)}: {visible(text)}"
        sys.stdout.write("\n" + (wrapped(line) if sys.stdout.isatty() else line + "\n"))


def _print(result: Result) -> None:
    from kgraph.exchange import results

    if result["form"] == "ask":
        print("yes" if result["answer"] else "no")
    elif result["form"] == "graph":
        sys.stdout.writelines(visible(line.rstrip("\n")) + "\n" for line in results.lines(result))
    elif result["rows"]:
        head, cells = results.texts(result)
        remarks: list[list[str]] = []
        if len(head) > 1 and head[-1] == asked_queries.REMARKS:
            head, remarks = head[:-1], [[text] if (text := row.pop()) else [] for row in cells]
        sys.stdout.write(table(head, cells, sys.stdout.isatty(), remarks))
