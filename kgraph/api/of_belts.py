"""Questions about belts. Quantities are given as they are written in a folder: "1.2 mm", "square 1.2 mm"."""

from __future__ import annotations

from typing import Unpack

from kgraph.api import asked_belts, replies
from kgraph.api.base import Opening, WeighingWishes, wish
from kgraph.questions import belt_families, belt_paths
from kgraph.render import belt_sets, belts, fitting_belts


class BeltQuestions(Opening):
    """A position may be left out where a set has one belt alone."""

    def belt_path(
        self,
        name: str,
        position: str = "",
        *,
        section: str | None = None,
        thickness: str | None = None,
        tolerance: str | None = None,
        **wished: Unpack[WeighingWishes],
    ) -> replies.BeltPathReply:
        """The length of the belt's path, the inside lengths that give the wanted stretch, what has them."""
        graph = self._graph
        grade = asked_belts.tolerance_class(tolerance) if tolerance is not None else None
        place = asked_belts.place(graph, _words(name, position), wish(**wished))
        given = asked_belts.section_given(section, thickness)(graph, place)
        found = belt_paths.path(graph, place, given, grade)
        data = graph.data
        said = belts.path_json(data, found) if found else belts.no_path_json(data, place)
        return self._reply(replies.BeltPathReply, said)

    def belt_fit(
        self,
        belt: str,
        name: str,
        position: str = "",
        *,
        tolerance: str | None = None,
        **wished: Unpack[WeighingWishes],
    ) -> replies.BeltFitReply:
        """Whether a recorded belt goes in a set, with every reason: stretch, pull, slip and tape speed."""
        grade = asked_belts.tolerance_class(tolerance) if tolerance is not None else None
        wanted = wish(**wished)
        found = asked_belts.fit(self._graph, belt, _words(name, position), grade, wanted)
        return self._reply(replies.BeltFitReply, fitting_belts.fit_json(self._graph.data, found))

    def belt_find(
        self,
        section: str,
        *,
        inside_length: str | None = None,
        inside_diameter: str | None = None,
        folded: str | None = None,
        worn: bool = False,
        section_error: str | None = None,
        length_error: str | None = None,
        **wished: Unpack[WeighingWishes],
    ) -> replies.PossibleBelts:
        """Which recorded belts a measured one can be, how likely each is, and which sets take it."""
        lengths = {"inside_length": inside_length, "inside_diameter": inside_diameter, "folded": folded}
        seen = asked_belts.measured(section, lengths, section_error, length_error, worn)
        found = asked_belts.find(self._graph, seen, wish(**wished))
        return self._reply(replies.PossibleBelts, belt_sets.find_json(self._graph.data, found, True))

    def belt_family(
        self,
        name: str,
        position: str = "",
        **wished: Unpack[WeighingWishes],
    ) -> replies.BeltFamily:
        """One row for each set that shares the place: its belt, the stretch, and whether the rows agree."""
        wanted = wish(**wished)
        place = asked_belts.place(self._graph, _words(name, position), wanted)
        found = belt_families.family(self._graph, place, wanted)
        return self._reply(replies.BeltFamily, belt_sets.family_json(self._graph.data, found))

    def belt_speed(self, tone: str, heard: str, name: str = "", position: str = "") -> replies.BeltSpeedReply:
        """The error of speed that a test tone tells; with a set, in terms of its belt."""
        tone_hz = asked_belts.read(asked_belts.hertz, tone)
        heard_hz = asked_belts.read(asked_belts.hertz, heard)
        place = asked_belts.place(self._graph, _words(name, position)) if name else None
        reading = belt_paths.speed(tone_hz, heard_hz, place)
        notes = asked_belts.place_notes(place) if place else ()
        data = self._graph.data if place else None
        said = belts.speed_json(data, place, tone_hz, heard_hz, reading, notes)
        return self._reply(replies.BeltSpeedReply, said)


def _words(name: str, position: str) -> tuple[str, ...]:
    return (name, position) if position else (name,)
