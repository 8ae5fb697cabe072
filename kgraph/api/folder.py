"""Fact folders as one object: ask, add, hand on."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Unpack

from kgraph import questions
from kgraph.api import networks, opening, writing
from kgraph.api.base import PathGiven, WeighingWishes, wish
from kgraph.api.checked import problems_of
from kgraph.api.decoding import decoded
from kgraph.api.entries import Said, entry_of, pairs_of
from kgraph.api.leaving import problem_json
from kgraph.api.of_belts import BeltQuestions
from kgraph.api.of_folders import FolderQuestions
from kgraph.api.of_sets import SetQuestions
from kgraph.api.of_shelf import ShelfQuestions
from kgraph.api.pictures import Family
from kgraph.api.replies import CheckReply
from kgraph.problems import WrongUse
from kgraph.render.checked import most_serious_first

if TYPE_CHECKING:
    from networkx import MultiDiGraph
    from rdflib import Graph as RdfGraph

    from kgraph.fits.graph import Graph


class Folder(SetQuestions, BeltQuestions, ShelfQuestions, FolderQuestions):
    """One or several fact folders; each question answers for their files as they are when it is asked.

    A question that cannot be asked so raises WrongUse, data that cannot be read CannotRun; both are Stop.
    """

    def add(
        self,
        kind: str,
        *names: str,
        file: str | None = None,
        sure: bool = False,
        full: bool = False,
        **keys: Said,
    ) -> str:
        """Append an entry, checked as `kgraph add` checks it; the id or name by which `show` finds it.

        A key is given by its name, with `_` for each blank and behind a word of Python's: `both_ways=True`,
        `except_=["line socket"]`; `photo` takes paths of pictures, which are copied. `sure` says that a new
        place is another than the known one that it is nearly called. Raises WrongUse or CannotRun with the
        message of the command, and nothing is written; what is doubtful is a warning, Doubtful.
        """
        if self._suppose or self._without:
            raise WrongUse("nothing is written to a folder in which something is only supposed")
        pairs = pairs_of(kind, names, keys)
        added = writing.add(self.folders, self._read_to_write, pairs, file=file, sure=sure, full=full)
        return writing.warn(added)

    def _read_to_write(self) -> Graph:
        return opening.opened(self.folders, strict=True).graph

    def supposing(self, kind: str, *names: str, **keys: Said) -> Folder:
        """The same folders with one more fact, said as in `add`; nothing is written."""
        entry = entry_of(kind, names, keys)
        return Folder(
            *self.folders, strict=self.strict, suppose=(*self._suppose, entry), without=self._without
        )

    def without(self, fact_id: str) -> Folder:
        """The same folders without one fact; nothing is written."""
        return Folder(
            *self.folders, strict=self.strict, suppose=self._suppose, without=(*self._without, fact_id)
        )

    def family(self, name: str, **wished: Unpack[WeighingWishes]) -> Family:
        """The sets that are one design with a set, and their picture; a notebook shows it."""
        from kgraph.render import dot

        graph = self._graph
        key = questions.name_of(graph.data, "set", name)
        found = self.sisters(name, **wished)
        only = None
        if wish(**wished).at_least > 0:
            only = {f"s:{questions.name_of(graph.data, 'set', row.set)}" for row in found}
        text = dot.family(graph.data, graph, key, only=only)
        return Family(set=graph.data.text("set", key), sisters=found, dot=text)

    def check(self) -> CheckReply:
        """Everything wrong or doubtful in the files; what cannot be read is among the errors."""
        opened = self._opened()
        found = problems_of(opened.graph, opened.problems, self.folders)
        errors = [p for p in found if p.severity == "error"]
        warnings = most_serious_first([p for p in found if p.severity == "warning"])
        lists = {
            "errors": [problem_json(p) for p in errors],
            "warnings": [problem_json(p) for p in warnings],
        }
        return decoded(CheckReply, lists, said=lists)

    def to_networkx(self) -> MultiDiGraph[networks.ThingNode]:
        """Sets, assemblies and parts as nodes, facts as edges.

        A node is a pair (kind, name). An edge has the id of its fact as key, and `kind`, `certainty`, `says`,
        `file`, `line` and what else the fact states. A fact that holds both ways is one edge, and says so.
        """
        return networks.to_networkx(self._graph)

    def to_rdflib(self, *, inferred: bool = False, places: bool = False) -> RdfGraph:
        """The folder as RDF: all that `kgraph export` writes, in one graph.

        With `inferred` also the answers for every part, with `places` the graph multiplied out by place.
        """
        return networks.to_rdflib(self._graph, inferred, places)


def default_folders() -> tuple[str, ...]:
    """The fact folders where none is named: those of $KGRAPH_DATA, else ./data."""
    given = os.environ.get("KGRAPH_DATA", "")
    return tuple(p for p in given.split(os.pathsep) if p) or ("data",)


def open(*folders: PathGiven, strict: bool = False) -> Folder:
    """Fact folders, to ask and to add to; none given, those of $KGRAPH_DATA, else ./data.

    Nothing is read before the first question. With `strict` a folder in which an entry cannot be read is
    refused; else it is left out, and every answer says so (`left_out`).
    """
    return Folder(*(folders or default_folders()), strict=strict)
