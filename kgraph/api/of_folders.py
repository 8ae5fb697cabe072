"""Questions about a folder as a whole: what it lists, how its grades held, and queries of one's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Unpack

from kgraph import calibration, listing
from kgraph.api import asked_queries, replies
from kgraph.api.base import Opening, WeighingWishes, wish
from kgraph.api.decoding import decoded
from kgraph.exchange import apart
from kgraph.exchange.apart import Job
from kgraph.exchange.engines import Result
from kgraph.listing.conditions import condition
from kgraph.problems import WrongUse
from kgraph.render import calibration as render_calibration
from kgraph.render import listed

Pairs = Mapping[str, str] | Iterable[tuple[str, str]]


class FolderQuestions(Opening):
    """A question of these goes through all that the folder holds."""

    def list(
        self,
        what: str,
        where: Pairs = (),
        *,
        columns: Iterable[str] = (),
        **wished: Unpack[WeighingWishes],
    ) -> replies.ListedRows:
        """Sets, units, parts, assemblies or facts that match, a row for each; `where` as in the command."""
        if what not in listing.KINDS:
            raise WrongUse(f"{what!r} is nothing that is listed; ask for {', '.join(listing.KINDS)}")
        conditions = [condition(f"{key}={value}") for key, value in _pairs(where)]
        found = listing.listed(self._graph, what, conditions, wish(**wished))
        chosen = listed.chosen_columns(found, (*columns,), whole=True)
        return self._reply(replies.ListedRows, listed.as_json(self._graph.data, found, chosen))

    def grades(self) -> replies.GradesHeld:
        """How often each grade held, where it was tried by hand."""
        said = render_calibration.as_json(calibration.of_folder(self._graph))
        return self._reply(replies.GradesHeld, said)

    def queries(self) -> replies.QueriesShipped:
        """The queries that come with the program, each with what it may be given."""
        said = asked_queries.shipped_json()
        return decoded(replies.QueriesShipped, said, said=said)

    def query(
        self,
        name: str,
        given: Pairs = (),
        *,
        engine: str | None = None,
        endpoint: str | None = None,
        seconds: float = asked_queries.SECONDS,
        inferred: bool = False,
    ) -> replies.QueryReply:
        """What a query in SPARQL finds: one that is shipped, by its name, or a file of one's own.

        `given` are its values by their names, like {"part": "K-114"}. Raises CannotRun where it is faulty,
        and where its time is up.
        """
        if engine is not None and engine not in asked_queries.ENGINES:
            raise WrongUse(f"there is no engine {engine!r}; one of {', '.join(asked_queries.ENGINES)}")
        if not asked_queries.LEAST_S <= seconds <= asked_queries.LONGEST_S:
            raise WrongUse(f"seconds is {seconds}; {asked_queries.LEAST_S} to {asked_queries.LONGEST_S}")
        asking = asked_queries.asking(
            name, dict(_pairs(given)), engine=engine, url=endpoint, seconds=seconds, inferred=inferred
        )
        if endpoint is None:
            found = asked_queries.answered(asking, self._graph.data, lambda job: self._run(asking, job))
            return self._reply(replies.QueryReply, found.said)
        # It has data of its own: the folder is read only for the names that are given.
        data = self._graph.data if asking.given else None
        found = asked_queries.answered(asking, data, lambda job: apart.run(job, ()))
        if data is not None:
            return self._reply(replies.QueryReply, found.said)
        return decoded(replies.QueryReply, found.said, said=found.said)

    def _run(self, asking: asked_queries.Asking, job: Job) -> Result:
        graph, store = self._graph, None
        if not self._suppose and not self._without:
            store = asked_queries.store_of(
                asking, self._shown, lambda: asked_queries.statements(graph, inferred=False)
            )
        if store:
            try:
                return asked_queries.over_store(self._shown, store, job)
            except asked_queries.StoreIsBad:
                pass
        return apart.run(job, asked_queries.statements(graph, asking.inferred))

    @property
    def _shown(self) -> tuple[str, ...]:
        return tuple(map(str, self.folders))


def _pairs(given: Pairs) -> Iterable[tuple[str, str]]:
    return given.items() if isinstance(given, Mapping) else given
