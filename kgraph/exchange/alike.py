"""Places that are alike taken together, and what goes, is original or is disputed at all of them at once.

The links of `places` are followed to their ends here, so that a query need not: a query that asks for a few
places reaches each of them in two steps. Certainty and proofs are left to the program's own questions.

=============== ======================== =========================================================
link            from, to                 stands where
=============== ======================== =========================================================
among           place, its like places   `likeAt*` leads from one to each other
ofSet           like places, set         one of them is a place of that set
originalAmong   part, like places        `sameAs*/originalAt` leads to one of them
goesAmong       part, like places        `(sameAs|replaces)*/takenAt`, `equalSize/takenAt`, or what is
                                         original elsewhere was fitted to one of them
fitsAmong       like places, like places what is at the first was fitted to the second: `fitsAt`
disputedAmong   part, like places        it goes there, and a fact says that it does not: it is refused
                                         under any number, or a place is whose original it is
disputedAmong   like places, like places what is at the first goes to the second, or they are the same,
                                         and it is refused there, or what is original at the first is
=============== ======================== =========================================================
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from kgraph.exchange.places import Node, Triple

Links = Mapping[Node, list[Node]]


class LikePlaces:
    """The links of a folder followed to their ends; `places` are all of its places."""

    def __init__(self, links: Iterable[Triple], places: Iterable[Node]) -> None:
        self.by_link: dict[str, dict[Node, list[Node]]] = defaultdict(lambda: defaultdict(list))
        for subject, link, object_ in links:
            self.by_link[link][subject].append(object_)
        self.among = _together(sorted(places), self.by_link["likeAt"])
        self.taken, self.stated, self.fitted, self.refused = (
            self._lifted(link) for link in ("takenAt", "originalAt", "fitsAt", "refusedAt")
        )
        self.original = {
            part: self._of(self._numbers(part), self.stated) for part in self._named(self.stated)
        }

    def triples(self) -> Iterator[Triple]:
        """Every link of the table above, each once, in an order that file order does not change."""
        yield from ((place, "among", like) for place, like in self.among.items())
        sets = ((like, place[1]) for place, like in self.among.items())
        yield from ((like, "ofSet", ("set", owner[2:])) for like, owner in sets if owner[0] == "s")
        for part in sorted(self.original):
            yield from ((part, "originalAmong", like) for like in sorted(self.original[part]))
        goes = self._goes()
        for link, found in ("goesAmong", goes), ("fitsAmong", self.fitted):
            for item in sorted(found):
                yield from ((item, link, like) for like in sorted(found[item]))
        for item, likes in sorted(self._refused().items()):
            ways = goes.get(item, set()) | self.fitted.get(item, set()) | {item}
            yield from ((item, "disputedAmong", like) for like in sorted(likes & ways))

    def _lifted(self, link: str) -> dict[Node, set[Node]]:
        """The ends of a link as like places; its beginnings as well, where they are places."""
        found: dict[Node, set[Node]] = defaultdict(set)
        for subject, ends in self.by_link[link].items():
            found[self.among.get(subject, subject)].update(self.among[end] for end in ends)
        return found

    def _numbers(self, part: Node) -> set[Node]:
        return _reached([part], self.by_link["sameAs"])

    def _named(self, found: Iterable[Node]) -> set[Node]:
        """The parts among these, under all of their numbers."""
        return _reached((node for node in found if node[0] == "part"), self.by_link["sameAs"])

    def _of(self, items: Iterable[Node], found: Mapping[Node, set[Node]]) -> set[Node]:
        return {like for item in items for like in found.get(item, ())}

    def _goes(self) -> dict[Node, set[Node]]:
        same, replaces, equal = (self.by_link[link] for link in ("sameAs", "replaces", "equalSize"))
        goes: dict[Node, set[Node]] = {}
        for part in self._named([*self.taken, *self.original, *same, *replaces, *equal]):
            likes = self._of(_reached([part], same, replaces), self.taken)
            likes |= self._of(equal.get(part, ()), self.taken)
            likes |= self._of(self.original.get(part, ()), self.fitted)
            if likes:
                goes[part] = likes
        return goes

    def _refused(self) -> dict[Node, set[Node]]:
        """Where each part is refused, and what each group of like places has."""
        found: dict[Node, set[Node]] = defaultdict(set)
        for item, likes in self.refused.items():
            for number in self._numbers(item) if item[0] == "part" else (item,):
                found[number] |= likes
        direct = dict(found)
        for part, here in self.original.items():
            for like in here:
                if like in self.refused:
                    found[part] = found[part] | self.refused[like]
                if part in direct:
                    found[like] = found[like] | direct[part]
        return found


def _together(places: Iterable[Node], like: Links) -> dict[Node, Node]:
    """Each place -> the node of its like places, called by the first of them."""
    among: dict[Node, Node] = {}
    for place in places:
        if place not in among:
            node = ("alike", *place[1:])
            among.update((one, node) for one in sorted(_reached([place], like)))
    return among


def _reached(begin: Iterable[Node], *links: Links) -> set[Node]:
    """Whatever can be reached by these links, where it begins among it."""
    seen, todo = set[Node](), list(begin)
    while todo:
        node = todo.pop()
        if node not in seen:
            seen.add(node)
            todo += (next_ for found in links for next_ in found.get(node, ()))
    return seen
