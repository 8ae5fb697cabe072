"""Questions about sets, places, parts and names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Unpack

from kgraph import lookup, questions
from kgraph.api import asked, asked_seen, replies
from kgraph.api.base import Opening, SetWishes, WeighingWishes, refuse_odd, wish
from kgraph.doubts import SECONDS as DOUBT_SECONDS
from kgraph.problems import WrongUse
from kgraph.questions import Answer
from kgraph.questions.identify import PRIOR
from kgraph.render import answers, arrival, things
from kgraph.render import doubts as render_doubts
from kgraph.render import faults as render_faults
from kgraph.render import identify as render_identify
from kgraph.render import likely as render_likely
from kgraph.render import whynot as render_whynot


class SetQuestions(Opening):
    """What may be said with each question is in `SetWishes` and `WeighingWishes`."""

    def takers(
        self,
        *words: str,
        **wished: Unpack[SetWishes],
    ) -> replies.SetRows:
        """Which other sets take a part (one name), or what a set or a unit has at a position (two names)."""
        found = asked.takers(self._graph, words, wish(**wished))
        return self._set_rows(found)

    def donors(
        self,
        name: str,
        *positions: str,
        **wished: Unpack[SetWishes],
    ) -> replies.SetRows:
        """Which sets can give what a set wants at these positions, or what a unit wants; best first."""
        wanted = wish(**wished)
        return self._set_rows(asked.donors(self._graph, name, positions, wanted))

    def parts(
        self,
        name: str,
        position: str,
        **wished: Unpack[SetWishes],
    ) -> replies.SetRows:
        """Which part numbers go at a position of a set or a unit."""
        wanted = wish(**wished)
        return self._set_rows(asked.parts(self._graph, (name, position), wanted))

    def sisters(
        self,
        name: str,
        **wished: Unpack[SetWishes],
    ) -> replies.SetRows:
        """The same design under other badges, and what differs."""
        wanted = wish(**wished)
        return self._set_rows(asked.sisters(self._graph, name, wanted))

    def shares(
        self,
        name: str,
        **wished: Unpack[SetWishes],
    ) -> replies.SetRows:
        """Which assemblies a set is built on, and which other sets are."""
        wanted = wish(**wished)
        return self._set_rows(asked.shares(self._graph, name, wanted))

    def _set_rows(self, found: Answer) -> replies.SetRows:
        data = self._graph.data
        said = answers.as_json(data, found)
        # JSON lists of the further proofs the ids alone.
        rows = [
            {**row, "proofs": [[answers.fact_json(data, f) for f in proof] for proof in one.proofs]}
            for row, one in zip(said["answers"], found.rows, strict=False)
        ]
        return self._reply(replies.SetRows, said, {"answers": rows})

    def why_no_taker(self, other: str, *words: str) -> replies.WhyNotReply:
        """Why a set is not among the takers of a part, or of what a set has at a position."""
        found = [asked.why_no_taker(self._graph, words, other)]
        return self._why_not(asked.takers(self._graph, words), found)

    def why_no_donor(self, other: str, name: str, *positions: str) -> replies.WhyNotReply:
        """Why a set is not among the donors, for each of the positions."""
        found = asked.why_no_donor(self._graph, name, positions, other)
        return self._why_not(asked.donors(self._graph, name, positions), found)

    def _why_not(self, answer: Answer, found: Iterable[Any]) -> replies.WhyNotReply:
        data = self._graph.data
        said = [render_whynot.as_json(data, one) for one in found]
        return self._reply(replies.WhyNotReply, {**answers.as_json(data, answer), "why not": said})

    # Names ------------------------------------------------------------------------------------

    def show(self, name: str) -> replies.ThingsShown:
        """All that is known of whatever has this name, or of the fact or event with this id."""
        graph = self._graph
        fact = lookup.fact_with_id(graph.data, name)
        event = None if fact else lookup.event_with_id(graph.data, name)
        known = [] if fact or event else lookup.show(graph, name)
        said = things.as_json(graph.data, name, known, fact, event)
        if not fact and not event:
            return self._reply(replies.ThingsShown, said)
        kind = "fact" if fact else "event"
        return self._reply(replies.ThingsShown, said, {"answers": [], kind: said["answers"][0]})

    def find(self, text: str, *, most: int | None = None) -> replies.FoundNames:
        """Names near a text, and things of which a value or a note holds it."""
        refuse_odd(most=most)
        found = lookup.find(self._graph.data, text)
        return self._reply(replies.FoundNames, things.found_json(text, found, most))

    # What is it, what is wrong with it --------------------------------------------------------

    def faults(
        self,
        name: str,
        *,
        signs: Sequence[str] = (),
        most: int | None = None,
        **wished: Unpack[WeighingWishes],
    ) -> replies.FaultRows:
        """What goes wrong with a set or a unit, or with `signs` which fault explains them."""
        wanted = wish(**wished, proofs=True, most=most)
        question, found = asked.faults(self._graph, name, signs, wanted)
        return self._reply(replies.FaultRows, render_faults.as_json(self._graph.data, question, found, most))

    def arrive(self, name: str) -> replies.ArrivalReply:
        """What to read before the back of a set or a unit comes off, with the cautions in full."""
        graph = self._graph
        set_key, unit = asked.set_and_unit(graph, name)
        page = arrival.page(graph, set_key, unit)
        return self._reply(replies.ArrivalReply, arrival.as_json(graph.data, set_key, unit, page))

    def identify_tried(self, *, prior: Sequence[float] = PRIOR) -> replies.TriedLooks:
        """How often sets and families are found by their looks, each hidden in turn."""
        from kgraph.questions.identify_tried import tried

        found = tried(self._graph, asked_seen.prior_of(prior))
        return self._reply(replies.TriedLooks, render_identify.tried_json(found))

    def likely_tried(self) -> replies.TriedRebadges:
        """How often recorded rebadges come back, each hidden in turn."""
        from kgraph.questions.likely import tried

        return self._reply(replies.TriedRebadges, render_likely.tried_json(tried(self._graph)))

    def identify(
        self,
        seen: Mapping[str, str] | Iterable[tuple[str, str]] = (),
        *,
        unit: str = "",
        prior: Sequence[float] = PRIOR,
        at_least: float = 0.0,
        most: int | None = None,
    ) -> replies.PossibleSets:
        """What a set may be, by what was seen of it and what is written of the unit as seen."""
        refuse_odd(at_least=at_least, most=most)
        graph = self._graph
        key = asked_seen.unit_named(graph, [unit] if unit else [])
        given = asked_seen.seen_of_unit(graph, key) if unit else []
        given += seen.items() if isinstance(seen, Mapping) else seen
        if not given:
            raise WrongUse(asked_seen.NOTHING_SEEN)
        found, best, following, less = asked_seen.identified(
            graph, given, asked_seen.prior_of(prior), at_least
        )
        question: dict[str, Any] = {"command": "identify", "seen": [f"{k}={v}" for k, v in given]}
        if unit:
            question["unit"] = graph.data.text("unit", key)
        said = render_identify.as_json(graph, question, found, best, following, most, less)
        return self._reply(replies.PossibleSets, said)

    def likely(
        self, name: str = "", *, parts: bool = False, at_least: float = 0.0, most: int | None = None
    ) -> replies.LikelyPairs:
        """Sets that may be one design with a set, or any two; or parts that may be one under two numbers."""
        from kgraph.questions import likely as guessed

        refuse_odd(at_least=at_least, most=most)
        if parts and name:
            raise WrongUse("parts are not asked for by a set")
        graph = self._graph
        of = f"s:{questions.name_of(graph.data, 'set', name)}" if name else ""
        every = guessed.likely_parts(graph) if parts else guessed.likely_sets(graph, of)
        found = every.at_least(at_least)
        question = {"command": "likely", **({"set": graph.data.owner_text(of)} if of else {})}
        return self._reply(replies.LikelyPairs, render_likely.as_json(graph, question, found, most, parts))

    def doubts(
        self, name: str = "", *, seconds: float = DOUBT_SECONDS, most: int | None = None
    ) -> replies.DoubtfulFacts:
        """Which facts, once looked at, are expected to settle most: about a set, a unit, or all takers."""
        refuse_odd(seconds=seconds, most=most)
        question, found = asked.doubts(self._graph, name, seconds)
        said = render_doubts.as_json(self._graph.data, question, found, most)
        return self._reply(replies.DoubtfulFacts, said)
