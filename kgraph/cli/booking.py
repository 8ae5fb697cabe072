"""book: the whole folder as linked static pages."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import click

from kgraph import records
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import SECONDS_OPTION
from kgraph.cli.opening import opened_whole
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.problems import CannotRun


@click.command(short_help="the whole folder as linked static pages")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option("--title", default=None, metavar="TEXT", help="The title of the book.")
@SECONDS_OPTION
@click.pass_obj
def book(settings: Settings, folder: Path, title: str | None, seconds: float) -> int:
    """Write a page for each set, part, belt, assembly, position, unit and family, with a search.

    Each set of which there is a unit also has the page that `arrive` gives, to read before it is opened.

    The pages need no server and ask for nothing outside DIR: open DIR/index.html. Written again, only
    pages that changed are replaced; a folder that is neither empty nor a book is left alone.

    Example: kgraph book pages --title "My shelf"
    """
    from kgraph.book.ground import BookGround, BookWishes
    from kgraph.book.pages import Book
    from kgraph.book.renewing import Renewal
    from kgraph.book.working import made as made_pages
    from kgraph.book.writing import write_book

    loaded = opened_whole(settings)
    wishes = BookWishes(
        **({"title": title} if title else {}),
        seconds=seconds,
        folders=tuple(settings.shown),
        left_out=loaded.left_out,
    )
    pictures = _Pictures(loaded)
    made = Book(BookGround(loaded.graph, wishes, pictures.draw, _thumbnails(settings, loaded)))
    pictures.disputes = made.ground.answering.depth.weighed
    renewal = Renewal(made, folder)
    makers = renewal.makers
    pages = renewal.pages(made_pages(makers, lambda: pictures.trouble, pictures.hear))

    def stamps() -> bytes | None:
        if pictures.trouble:
            renewal.forget("families/")
        return renewal.file()

    with steps("writing the book", len(makers)) as step:
        done = write_book(folder, made.paths, pages, step, stamps)
    if pictures.trouble:
        print(f"families are without pictures: {pictures.trouble}", file=sys.stderr)
    print(f"{_count(done.pages, 'file')} in {folder}: {done.changed} written, {done.removed} removed")
    return 0


def _thumbnails(settings: Settings, loaded: Loaded) -> dict[str, bytes]:
    """What the pages show of each photograph that an entry names, by its path."""
    from kgraph.photographs.thumbnails import thumbnails

    paths = sorted({p for entry in loaded.data.entries for p in records.photos_of(entry)})
    made: dict[str, bytes] = {}
    with steps("photographs", len(paths)) as step:
        for path, data in thumbnails(settings.folders, paths):
            made[path] = data
            step()
    return made


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


class _Pictures:
    """Draws families; after the first failure of `dot` it is not tried again."""

    def __init__(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self.trouble = ""
        self.disputes = True
        """Whether it is looked for what is disputed: each family may cost as much as all of its places."""

    def hear(self, trouble: str) -> None:
        """What another process met."""
        self.trouble = self.trouble or trouble

    def draw(self, families: Mapping[str, Mapping[str, str]]) -> dict[str, bytes]:
        """The families of these sets as SVG, less those that cannot be drawn; each with its links."""
        from kgraph.render import dot

        if self.trouble:
            return {}
        data, graph = self.loaded.data, self.loaded.graph
        try:
            texts = [
                dot.family(data, graph, key, links=links, disputes=self.disputes)
                for key, links in families.items()
            ]
            return dict(zip(families, dot.svgs(texts), strict=True))
        except CannotRun as stop:
            self.trouble = str(stop)
            return {}
