"""query: a SPARQL query over the folder, one that is shipped or one of the user's own."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from kgraph.api.loaded import Loaded, Opened
from kgraph.cli.asking import print_json
from kgraph.cli.loading import load
from kgraph.cli.opening import with_folder
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.names import did_you_mean
from kgraph.problems import CannotRun, WrongUse
from kgraph.render.terminal import table, visible, wrapped

if TYPE_CHECKING:
    from kgraph.exchange.apart import Job
    from kgraph.exchange.engines import Result
    from kgraph.exchange.sparql import Parameter, Query
    from kgraph.interface import Facts

SUFFIX = ".rq"
NOTE = "A query tells no certainty: `kgraph takers` and its like do."
REMARKS = "remarks"
"""The variable whose texts stand below their row on a terminal, where it is the last."""
CAUTION = "caution: "
"""What a shipped query's remark begins with where it names a caution."""
MOST_BYTES = 1 << 20
LONGEST_S = 86_400


@click.command(
    short_help="a SPARQL query over the folder",
    context_settings={"ignore_unknown_options": True},
)
@click.argument("words", nargs=-1, type=click.UNPROCESSED, metavar="[NAME | FILE.rq]")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.option(
    "--engine", type=click.Choice(["rdflib", "pyoxigraph"]), help="Default: pyoxigraph where it is installed."
)
@click.option("--endpoint", metavar="URL", help="Ask a SPARQL endpoint that holds the folder's export.")
@click.option(
    "--seconds", type=click.FloatRange(0.1, LONGEST_S), default=30.0, show_default=True,
    help="The query is ended after this time.",
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
    from kgraph.exchange import apart, engines, sparql
    from kgraph.exchange.endpoint import address

    asked = _read(name)
    _check_given(asked, given)
    if endpoint is not None:
        if inferred:
            raise WrongUse("--inferred is for the folder; export with --inferred what an endpoint is to hold")
        address(endpoint)
    missing = "" if inferred or endpoint else sparql.wants_inferred(asked.text)
    chosen = engine or ("pyoxigraph" if engines.has_pyoxigraph() else "rdflib")
    job = apart.Job("", asked.file, seconds, chosen, endpoint or "")

    def answered(loaded: Opened | None, over: Callable[[apart.Job], Result]) -> int:
        text, shown = _with_values(loaded, asked, given)
        question = {"command": "query", "query": asked.name, "given": shown}
        return _give(loaded, question, asked, over(replace(job, text=text)), as_json, missing)

    if endpoint is not None:
        # It has data of its own: the folder is read only for the names that are given.
        return answered(load(settings) if given else None, lambda job: apart.run(job, ()))
    if chosen == "pyoxigraph" and not inferred and (store := _store(settings)):
        with suppress(_StoreIsBad):
            over = partial(_over_store, settings, store)
            return with_folder(settings, lambda loaded: answered(loaded, over))
    loaded = load(settings)
    _tell_of_time(loaded, chosen, seconds)
    return answered(loaded, lambda job: apart.run(job, _statements(loaded, inferred)))


class _StoreIsBad(Exception):
    """A store on disk is out of order."""


def _store(settings: Settings) -> str | None:
    """The store of a large folder, made anew where none stands; None where there is none to be had."""
    from kgraph.exchange import standing

    folders = settings.shown
    if settings.suppose or settings.without or not standing.is_worth_it(folders):
        return None
    if found := standing.standing(folders):
        return found
    return standing.make(folders, lambda: _statements(load(settings), False))


def _over_store(settings: Settings, store: str, job: Job) -> Result:
    """What comes of a job over a store; raises _StoreIsBad where that is out of order, and takes it away."""
    from kgraph.exchange import apart, standing

    try:
        return apart.run(replace(job, store=store), ())
    except CannotRun as stop:
        if all(p.code != apart.STORE for p in stop.problems):
            raise
        standing.drop(settings.shown, store)
        raise _StoreIsBad from None


STATEMENTS_S = 12_000
"""How many statements rdflib reads in a second, on a slow machine: measured, not promised."""
STATEMENTS_OF_A_FACT = 60
"""With the graph by place, in a large folder: measured as well."""
LONG_S = 5


def _tell_of_time(loaded: Loaded, engine: str, seconds: float) -> None:
    """Before rdflib starts on a large folder: that it will take long, and what would be quicker."""
    wanted = len(loaded.data.facts) * STATEMENTS_OF_A_FACT / STATEMENTS_S
    if engine == "rdflib" and wanted > LONG_S:
        says = f"rdflib needs about {wanted:.0f} s to read {len(loaded.data.facts)} facts, then asks them"
        if wanted > seconds:
            says += f", and is ended after {seconds:g} s (--seconds)"
        mend = "quicker: pip install 'kgraph[fast]', or `kgraph takers`, `donors` and `sisters`"
        print(f"{says}; {mend}", file=sys.stderr, flush=True)


def _statements(loaded: Loaded, inferred: bool) -> Iterator[bytes]:
    from kgraph.exchange import formats, rdf

    with steps("inferring", len(loaded.data.known("part")) if inferred else None) as step:
        yield from rdf.ntriples(formats.Export(loaded.graph, inferred, places=True, step=step))


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
    queries = [_read(name) for name in _shipped()]
    if as_json:
        rows = [_as_json(q) for q in queries]
        print_json({"question": {"command": "query"}, "answers": rows, "notes": []})
        return 0
    cells = [[q.name, q.title, " ".join(_options(q))] for q in queries]
    asks = [[q.asks] for q in queries]
    sys.stdout.write(table(("query", "title", "takes"), cells, sys.stdout.isatty(), asks))
    return 0


def _as_json(asked: Query) -> dict[str, Any]:
    parameters = [
        {"name": p.name, "kind": p.kind, "needed": p.needed, "says": p.says} for p in asked.parameters
    ]
    return {"query": asked.name, "title": asked.title, "asks": asked.asks, "parameters": parameters}


def _options(asked: Query) -> list[str]:
    return [f"--{o}" if p.needed else f"[--{o}]" for p in asked.parameters for o in p.options]


def _shipped() -> dict[str, bytes]:
    """Name -> bytes of the queries that come with the program."""
    inside = resources.files("kgraph") / "queries"
    # Run from the source tree, where the queries lie beside the package.
    folder = inside if inside.is_dir() else Path(__file__).resolve().parents[2] / "queries"
    if not folder.is_dir():
        raise CannotRun("the queries are not installed with this copy of kgraph")
    names = sorted(f.name for f in folder.iterdir() if f.name.endswith(SUFFIX))
    return {name[: -len(SUFFIX)]: (folder / name).read_bytes() for name in names}


def _read(name: str) -> Query:
    """A shipped query by its name, or one from a file; raises WrongUse where there is neither."""
    from kgraph.exchange import sparql

    if name.endswith((SUFFIX, ".ru")) or os.sep in name:
        return sparql.read(Path(name).name, name, _bytes(name))
    shipped = _shipped()
    if name not in shipped:
        near = did_you_mean(name, shipped) or "`kgraph query` lists them; one of your own is a FILE.rq"
        raise WrongUse(f"there is no query {name!r}; {near}")
    return sparql.read(name, name + SUFFIX, shipped[name], shipped=True)


def _bytes(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise CannotRun(f"{path}: {error.strerror}") from None
    if len(data) > MOST_BYTES:
        raise CannotRun(f"{path}: a query of more than {MOST_BYTES >> 20} MiB; ask for less")
    return data


def _check_given(asked: Query, given: Mapping[str, str]) -> None:
    """Raises WrongUse for an option that the query does not take, and for one that is missing."""
    known = {o: p for p in asked.parameters for o in p.options}
    takes = f"it takes {', '.join(_options(asked))}" if known else "it takes none"
    wrong = [f"{asked.name} takes no --{name}; {takes}" for name in given if name not in known]
    wrong += [
        f"{asked.name} wants --{option}: {p.says}"
        for option, p in known.items()
        if option not in given and (p.needed or any(o in given for o in p.options))
    ]
    if wrong:
        raise WrongUse(*wrong)


def _with_values(loaded: Opened | None, asked: Query, given: Mapping[str, str]) -> tuple[str, dict[str, str]]:
    """The query's text with its values in place, and each value by the name it has in the folder."""
    from kgraph.exchange import sparql

    values: dict[str, str] = {}
    shown: dict[str, str] = {}
    for parameter in asked.parameters:
        if loaded is not None and all(o in given for o in parameter.options):
            texts = [given[o] for o in parameter.options]
            values[parameter.name], names = _value(loaded.data, parameter, texts)
            shown |= zip(parameter.options, names, strict=True)
    return sparql.bound(asked, values), shown


def _value(data: Facts, parameter: Parameter, texts: list[str]) -> tuple[str, list[str]]:
    """A value as it goes into the query, and the names by which it is shown."""
    from kgraph import quantities, questions
    from kgraph.exchange.terms import iri

    if parameter.kind == "number":
        try:
            return f"{quantities.number(texts[0], 0.0, 1e9):.9f}", texts
        except quantities.QuantityError as error:
            raise WrongUse(str(error)) from None
    if parameter.kind == "place":
        one, other = questions.name_of(data, "set", texts[0]), questions.name_of(data, "position", texts[1])
        return iri("place", "s", one, other), [data.text("set", one), data.text("position", other)]
    if parameter.kind == "part":
        key = questions.part_named(data, texts[0])
    else:
        key = questions.name_of(data, parameter.kind, texts[0])
    return iri(parameter.kind, key), [data.text(parameter.kind, key)]


# What came of it ------------------------------------------------------------------------------


def _give(
    loaded: Opened | None,
    question: dict[str, Any],
    asked: Query,
    result: Result,
    as_json: bool,
    missing: str,
) -> int:
    """Print what was found; `missing`: what the query asks about that is told by --inferred alone."""
    from kgraph.exchange import results

    if asked.shipped:
        _sort_remarks(result)
    found = results.answers(result)
    cautions = _cautions(loaded, found) if asked.shipped else {}
    notes = [NOTE] if asked.shipped else []
    empty = not results.found(result)
    if empty and missing:
        notes.append(f"{missing} is known only with --inferred")
    if as_json:
        said: dict[str, Any] = {"question": question, "form": result["form"]}
        if result["form"] == "select":
            said["variables"] = result["variables"]
        said |= {"answers": found, "notes": notes}
        print_json({**said, "caution texts": cautions} if cautions else said, loaded)
    else:
        _print(result)
        _print_cautions(cautions)
        for note in ["nothing found", *notes[bool(asked.shipped) :]] if empty else notes:
            print(note, file=sys.stderr)
    return 1 if empty else 0


def _sort_remarks(result: Result) -> None:
    """Which remark comes first is left to the engine by the standard; here it is the same each time."""
    if REMARKS in result.get("variables", ()):
        at = result["variables"].index(REMARKS)
        for row in result["rows"]:
            row[at][1] = "; ".join(sorted(row[at][1].split("; ")))


def _cautions(loaded: Opened | None, found: list[dict[str, Any]]) -> dict[str, str]:
    """Name -> text of every caution that the remarks of a shipped query name."""
    if loaded is None:
        return {}
    from kgraph.render.answers import caution_texts

    remarks = (r for row in found for r in str(row.get(REMARKS, "")).split("; "))
    names = dict.fromkeys(r.removeprefix(CAUTION) for r in remarks if r.startswith(CAUTION))
    return caution_texts(loaded.data, sorted(names))


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
        if len(head) > 1 and head[-1] == REMARKS:
            head, remarks = head[:-1], [[text] if (text := row.pop()) else [] for row in cells]
        sys.stdout.write(table(head, cells, sys.stdout.isatty(), remarks))
