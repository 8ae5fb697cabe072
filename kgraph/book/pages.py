"""Every page of a book as bytes: which there are, and what each is made from.

The same data give the same bytes; no page holds a date or the place where the fact folder lies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from kgraph import belt_questions
from kgraph.book import parts, recognising, sets, tops, units
from kgraph.book.ground import Ground
from kgraph.book.search import INDEX, index_script
from kgraph.render.terminal import visible

STATIC = ("book.css", "search.js", "identify.js")

_PAGES: dict[str, Callable[[Ground, str], dict[str, Any]]] = {
    "set": sets.set_page,
    "family": sets.family_page,
    "part": parts.part_page,
    "assembly": sets.assembly_page,
    "position": sets.position_page,
    "unit": units.unit_page,
}
"""Kind of thing -> what stands on its page; the template has the kind's name."""


def _has(kind: str) -> Callable[[Ground], bool]:
    return lambda g: bool(g.all_of(kind))


def _has_belts(g: Ground) -> bool:
    return any(belt_questions.is_belt(g.data, key) for key, _ in g.all_of("part"))


def _has_wants(g: Ground) -> bool:
    return any(now.wants for now in g.shelf.units.values())


@dataclass(frozen=True, slots=True)
class _Top:
    path: str
    title: str
    needed: Callable[[Ground], bool]
    make: Callable[[Ground], dict[str, Any]]


_TOPS = (
    _Top("index.html", "Sets by badge", lambda g: True, tops.index_page),
    _Top("identify.html", "What is this set?", recognising.recognisable, recognising.recognising_page),
    _Top("families.html", "Families", _has("family"), tops.families_page),
    _Top("assemblies.html", "Assemblies", _has("assembly"), tops.assemblies_page),
    _Top("parts.html", "Parts", _has("part"), tops.parts_page),
    _Top("belts.html", "Belts", _has_belts, tops.belts_page),
    _Top("positions.html", "Positions", _has("position"), tops.positions_page),
    _Top("units.html", "Units", _has("unit"), tops.units_page),
    _Top("seek.html", "To look for", _has_wants, tops.seek_page),
    _Top("sources.html", "Sources", lambda g: bool(g.data.known("source")), tops.sources_page),
    _Top("certainty.html", "How sure, and cautions", lambda g: True, tops.certainty_page),
)


class Book:
    """The files of a book; each page is made when it is asked for, so that only one is held at a time."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.tops = [top for top in _TOPS if top.needed(ground)]

    @property
    def _recorded(self) -> list[str]:
        return [recognising.DATA] if recognising.recognisable(self.ground) else []

    @property
    def paths(self) -> list[str]:
        """The address of every file of the book, in the order in which they are made."""
        pages = [ref.href for kind in _PAGES for _, ref in self.ground.all_of(kind)]
        return [*STATIC, INDEX, *self._recorded, *(top.path for top in self.tops), *pages]

    def files(self) -> Iterator[tuple[str, bytes]]:
        """(address, bytes) of every file of the book."""
        static = resources.files("kgraph.book") / "static"
        for name in STATIC:
            yield name, (static / name).read_bytes()
        yield INDEX, index_script(self.ground.data, self.ground.refs)
        for name in self._recorded:
            yield name, recognising.data_script(self.ground)
        for top in self.tops:
            shown = top.make(self.ground)
            yield top.path, self._page(top.path, "", title=top.title, current=top.path, **shown)
        for kind, make in _PAGES.items():
            for key, ref in self.ground.all_of(kind):
                shown = make(self.ground, key)
                yield ref.href, self._page(f"{kind}.html", "../", title=ref.name, current="", **shown)

    def _page(self, template: str, root: str, **shown: Any) -> bytes:
        nav = [(top.path, top.title) for top in self.tops]
        made = self._templates.get_template(template)
        text = made.render(book=self.ground.wishes.title, root=root, nav=nav, **shown)
        return (text.rstrip() + "\n").encode("utf-8")

    @cached_property
    def _templates(self) -> jinja2.Environment:
        return jinja2.Environment(
            loader=jinja2.PackageLoader("kgraph.book", "templates"),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            finalize=_shown,
            trim_blocks=True,
            lstrip_blocks=True,
        )


def _shown(value: Any) -> Any:
    """The one way out for text of the data: what could hide or turn other text is shown as an escape."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value
