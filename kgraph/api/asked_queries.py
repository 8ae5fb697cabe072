"""Queries in SPARQL, asked by their words: one that is shipped, or a file of one's own."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kgraph import quantities, questions
from kgraph.exchange import results, sparql
from kgraph.exchange.sparql import Parameter, Query
from kgraph.exchange.terms import iri
from kgraph.names import did_you_mean
from kgraph.problems import CannotRun, WrongUse
from kgraph.render.answers import caution_texts

if TYPE_CHECKING:
    from kgraph.collection import Collection
    from kgraph.exchange.apart import Job
    from kgraph.exchange.engines import Result
    from kgraph.fits.graph import Graph

SUFFIX = ".rq"
NOTE = "A query tells no certainty: `kgraph takers` and its like do."
REMARKS = "remarks"
"""The variable whose texts stand below their row on a terminal, where it is the last."""
CAUTION = "caution: "
"""What a shipped query's remark begins with where it names a caution."""
MOST_BYTES = 1 << 20
SECONDS, LEAST_S, LONGEST_S = 30.0, 0.1, 86_400
ENGINES = ("rdflib", "pyoxigraph")


class StoreIsBad(Exception):
    """A store on disk is out of order."""


@dataclass(frozen=True, slots=True)
class Asking:
    """A query that may be run so: what it is given, how it is run, and what it would find nothing of."""

    query: Query
    given: Mapping[str, str]
    job: Job
    inferred: bool = False
    missing: str = ""
    """What the query asks about that is told with `--inferred` alone."""


# What is shipped ------------------------------------------------------------------------------


def shipped() -> list[Query]:
    """The queries that come with the program."""
    return [read(name) for name in _texts()]


def shipped_json() -> dict[str, Any]:
    """The queries that come with the program, and what each may be given, as one object."""
    return {"question": {"command": "query"}, "answers": list(map(_query_json, shipped())), "notes": []}


def _query_json(asked: Query) -> dict[str, Any]:
    parameters = [
        {"name": p.name, "kind": p.kind, "needed": p.needed, "says": p.says} for p in asked.parameters
    ]
    return {"query": asked.name, "title": asked.title, "asks": asked.asks, "parameters": parameters}


def options(asked: Query) -> list[str]:
    """The options that a query takes; those in brackets may be left out."""
    return [f"--{o}" if p.needed else f"[--{o}]" for p in asked.parameters for o in p.options]


def _texts() -> dict[str, bytes]:
    """Name -> bytes of the queries that come with the program."""
    inside = resources.files("kgraph") / "queries"
    # Run from the source tree, where the queries lie beside the package.
    folder = inside if inside.is_dir() else Path(__file__).resolve().parents[2] / "queries"
    if not folder.is_dir():
        raise CannotRun("the queries are not installed with this copy of kgraph")
    names = sorted(f.name for f in folder.iterdir() if f.name.endswith(SUFFIX))
    return {name[: -len(SUFFIX)]: (folder / name).read_bytes() for name in names}


# What was asked -------------------------------------------------------------------------------


def asking(
    name: str,
    given: Mapping[str, str],
    *,
    engine: str | None = None,
    url: str | None = None,
    seconds: float = SECONDS,
    inferred: bool = False,
) -> Asking:
    """A query by its name or its file; raises WrongUse where it cannot be asked so."""
    from kgraph.exchange import apart, endpoint, engines

    asked = read(name)
    _check_given(asked, given)
    if url is not None:
        if inferred:
            raise WrongUse("--inferred is for the folder; export with --inferred what an endpoint is to hold")
        endpoint.address(url)
    missing = "" if inferred or url else sparql.wants_inferred(asked.text)
    chosen = engine or ("pyoxigraph" if engines.has_pyoxigraph() else "rdflib")
    return Asking(asked, given, apart.Job("", asked.file, seconds, chosen, url or ""), inferred, missing)


def read(name: str) -> Query:
    """A shipped query by its name, or one from a file; raises WrongUse where there is neither."""
    if name.endswith((SUFFIX, ".ru")) or os.sep in name:
        return sparql.read(Path(name).name, name, _bytes(name))
    texts = _texts()
    if name not in texts:
        near = did_you_mean(name, texts) or "`kgraph query` lists them; one of your own is a FILE.rq"
        raise WrongUse(f"there is no query {name!r}; {near}")
    return sparql.read(name, name + SUFFIX, texts[name], shipped=True)


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
    takes = f"it takes {', '.join(options(asked))}" if known else "it takes none"
    wrong = [f"{asked.name} takes no --{name}; {takes}" for name in given if name not in known]
    wrong += [
        f"{asked.name} wants --{option}: {p.says}"
        for option, p in known.items()
        if option not in given and (p.needed or any(o in given for o in p.options))
    ]
    if wrong:
        raise WrongUse(*wrong)


def _with_values(data: Collection | None, asking: Asking) -> tuple[str, dict[str, str]]:
    """The query's text with its values in place, and each value by the name it has in the folder."""
    values: dict[str, str] = {}
    shown: dict[str, str] = {}
    for parameter in asking.query.parameters:
        if data is not None and all(o in asking.given for o in parameter.options):
            texts = [asking.given[o] for o in parameter.options]
            values[parameter.name], names = _value(data, parameter, texts)
            shown |= zip(parameter.options, names, strict=True)
    return sparql.bound(asking.query, values), shown


def _value(data: Collection, parameter: Parameter, texts: list[str]) -> tuple[str, list[str]]:
    """A value as it goes into the query, and the names by which it is shown."""
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


# Where it is run ------------------------------------------------------------------------------


def statements(graph: Graph, inferred: bool, step: Callable[[], None] = lambda: None) -> Iterator[bytes]:
    """What a query is asked of."""
    from kgraph.exchange import formats, rdf

    return rdf.ntriples(formats.Export(graph, inferred, places=True, step=step))


def store_of(asking: Asking, folders: Sequence[str], made_of: Callable[[], Iterator[bytes]]) -> str | None:
    """The store of large folders, made anew where none stands; None where there is none to be had."""
    from kgraph.exchange import standing

    may = asking.job.engine == "pyoxigraph" and not asking.inferred
    if not may or not standing.is_worth_it(folders):
        return None
    return standing.standing(folders) or standing.make(folders, made_of)


def over_store(folders: Sequence[str], store: str, job: Job) -> Result:
    """What comes of a job over a store; raises StoreIsBad where that is out of order, and takes it away."""
    from kgraph.exchange import apart, standing

    try:
        return apart.run(replace(job, store=store), ())
    except CannotRun as stop:
        if all(p.code != apart.STORE for p in stop.problems):
            raise
        standing.drop(folders, store)
        raise StoreIsBad from None


# What came of it ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Answered:
    """What a query found: as the engine gave it, as one object, and whether it is anything."""

    result: Result
    said: dict[str, Any]
    found: bool

    @property
    def cautions(self) -> dict[str, str]:
        """The cautions that are named in it, in full."""
        texts: dict[str, str] = self.said.get("caution texts", {})
        return texts


def answered(asking: Asking, data: Collection | None, over: Callable[[Job], Result]) -> Answered:
    """The answer of a query with its values in place; `over` runs it."""
    asked = asking.query
    text, shown = _with_values(data, asking)
    result = over(replace(asking.job, text=text))
    if asked.shipped:
        _sort_remarks(result)
    rows, notes = results.answers(result), [NOTE] if asked.shipped else []
    found = results.found(result)
    if not found and asking.missing:
        notes.append(f"{asking.missing} is known only with --inferred")
    question = {"command": "query", "query": asked.name, "given": shown}
    said: dict[str, Any] = {"question": question, "form": result["form"]}
    if result["form"] == "select":
        said["variables"] = result["variables"]
    said |= {"answers": rows, "notes": notes}
    if cautions := _cautions(data, rows) if asked.shipped else {}:
        said["caution texts"] = cautions
    return Answered(result, said, found)


def _sort_remarks(result: Result) -> None:
    """Which remark comes first is left to the engine by the standard; here it is the same each time."""
    if REMARKS in result.get("variables", ()):
        at = result["variables"].index(REMARKS)
        for row in result["rows"]:
            row[at][1] = "; ".join(sorted(row[at][1].split("; ")))


def _cautions(data: Collection | None, found: list[dict[str, Any]]) -> dict[str, str]:
    """Name -> text of every caution that the remarks of a shipped query name."""
    if data is None:
        return {}
    remarks = (r for row in found for r in str(row.get(REMARKS, "")).split("; "))
    names = dict.fromkeys(r.removeprefix(CAUTION) for r in remarks if r.startswith(CAUTION))
    return caution_texts(data, sorted(names))
