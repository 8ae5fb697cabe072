"""Every page of a book as bytes: which there are, and what each is made from.

The same data give the same bytes; no page holds a date or the place where the fact folder lies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from kgraph.book import belts, parts, recognising, seek, sets, tops, units, wrong
from kgraph.book.addresses import photo_path
from kgraph.book.ground import BookGround
from kgraph.book.lists import Listing, ListPage
from kgraph.book.search import INDEX, index_script
from kgraph.questions import belt_places
from kgraph.render.terminal import visible

STATIC = ("book.css", "search.js", belts.SCRIPT, "identify.js")

_PAGES: dict[str, Callable[[BookGround, str], dict[str, Any]]] = {
    "set": sets.set_page,
    "family": sets.family_page,
    "part": parts.part_page,
    "assembly": sets.assembly_page,
    "position": sets.position_page,
    "unit": units.unit_page,
    "arrival": wrong.arrival_page,
}
"""Kind of thing -> what stands on its page; the template has the kind's name."""


def _has(kind: str) -> Callable[[BookGround], bool]:
    return lambda g: bool(g.all_of(kind))


def _has_belts(g: BookGround) -> bool:
    return any(belt_places.is_belt(g.data, key) for key, _ in g.all_of("part"))


@dataclass(frozen=True, slots=True)
class _Top:
    path: str
    title: str
    needed: Callable[[BookGround], bool]
    make: Callable[[BookGround], dict[str, Any]] = lambda g: {}
    list: Callable[[BookGround], Listing] | None = None


_TOPS = (
    _Top("index.html", "Sets by badge", lambda g: True, tops.index_page, lambda g: g.badges),
    _Top("identify.html", "What is this set?", recognising.recognisable, recognising.recognising_page),
    _Top("families.html", "Families", _has("family"), list=tops.families_list),
    _Top("assemblies.html", "Assemblies", _has("assembly"), list=tops.assemblies_list),
    _Top("parts.html", "Parts", _has("part"), list=tops.parts_list),
    _Top("belts.html", "Belts", _has_belts, list=belts.belts_list),
    _Top("positions.html", "Positions", _has("position"), list=tops.positions_list),
    _Top("units.html", "Units", _has("unit"), tops.units_page),
    _Top("seek.html", "To look for", seek.has_wants, seek.seek_page),
    _Top("sources.html", "Sources", lambda g: bool(g.data.known("source")), list=tops.sources_list),
    _Top("certainty.html", "How sure, and cautions", lambda g: True, tops.certainty_page),
)


class Book:
    """The files of a book; each page is made when it is asked for, so that only one is held at a time."""

    def __init__(self, ground: BookGround) -> None:
        self.ground = ground
        self.tops = [top for top in _TOPS if top.needed(ground)]
        self._lists = {top.path: top.list(ground) for top in self.tops if top.list}

    @property
    def paths(self) -> list[str]:
        """The address of every file of the book, in the order in which they are made."""
        return list(self.makers)

    def files(self) -> Iterator[tuple[str, bytes]]:
        """(address, bytes) of every file of the book."""
        for path, make in self.makers.items():
            yield path, make()

    @cached_property
    def things(self) -> dict[str, tuple[str, str]]:
        """Address -> (kind, key) of the thing whose page it is."""
        return {ref.href: (kind, key) for kind in _PAGES for key, ref in self.ground.all_of(kind)}

    @cached_property
    def makers(self) -> dict[str, Callable[[], bytes]]:
        """Address -> what makes the file."""
        g = self.ground
        found: dict[str, Callable[[], bytes]] = {name: partial(_static, name) for name in STATIC}
        found[INDEX] = lambda: index_script(g.data, g.refs)
        found[belts.DATA] = lambda: belts.belts_script(g)
        if recognising.recognisable(g):
            found[recognising.DATA] = lambda: recognising.data_script(g)
        found |= {photo_path(p): partial(g.thumbnails.__getitem__, p) for p in g.thumbnails}
        for top in self.tops:
            found[top.path] = partial(self._top, top)
            apart = self._lists[top.path].apart if top.list else []
            found |= {part.href: partial(self._part_of_list, top, part) for part in apart}
        return found | {path: partial(self._thing, *thing) for path, thing in self.things.items()}

    def _top(self, top: _Top) -> bytes:
        shown = top.make(self.ground)
        if top.list:
            listing = self._lists[top.path]
            here = [part for part in listing.parts if not part.href]
            shown |= {"parts": here, "apart": listing.apart, "whole": True}
        return self._page(top.path, "", title=top.title, current=top.path, **shown)

    def _part_of_list(self, top: _Top, part: ListPage) -> bytes:
        title = f"{top.title}: {part.name}"
        back = (top.path, top.title)
        return self._page(
            top.path, "../", title=title, current="", parts=[part], apart=[], whole=False, back=back
        )

    def _thing(self, kind: str, key: str) -> bytes:
        shown = _PAGES[kind](self.ground, key)
        return self._page(f"{kind}.html", "../", title=self.ground.refs[kind, key].name, current="", **shown)

    def _page(self, template: str, root: str, **shown: Any) -> bytes:
        full = self.ground.answering.depth.why
        nav = [(top.path, top.title) for top in self.tops if full or not root]
        made = self._templates.get_template(template)
        text = made.render(book=self.ground.wishes.title, root=root, nav=nav, full=full, **shown)
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


def _static(name: str) -> bytes:
    return (resources.files("kgraph.book") / "static" / name).read_bytes()


def _shown(value: Any) -> Any:
    """The one way out for text of the data: what could hide or turn other text is shown as an escape."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value
