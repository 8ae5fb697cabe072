"""--photo: the pictures that a user gives with an entry, by the paths under which the folder keeps them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from kgraph.cli.filling import Pairs
from kgraph.cli.settings import Settings
from kgraph.photographs import Picture, taken

if TYPE_CHECKING:
    from kgraph.render.sheet import Page

F = TypeVar("F", bound=Callable[..., Any])


def full_option(command: F) -> F:
    """The option by which a picture keeps all its pixels."""
    return click.option("--full", is_flag=True, help="A photo keeps all its pixels; else 2,000 on a side.")(
        command
    )


def photo_options(command: F) -> F:
    """The options by which an event names the pictures that it rests on."""
    option = click.option(
        "--photo", "photos", multiple=True, metavar="FILE", help="A picture, copied into the folder."
    )
    return option(full_option(command))


def page_text(settings: Settings, page: Page, form: str) -> str:
    """A page in a form; only HTML opens the photographs that it shows."""
    from kgraph.photographs.thumbnails import thumbnails
    from kgraph.render.sheet import page_in_form

    shown = dict(thumbnails(settings.folders, page.all_photos)) if form == "html" else {}
    return page_in_form(page, form, shown)


def with_pictures(pairs: Pairs, folder: Path, full: bool) -> tuple[Pairs, list[Picture]]:
    """The pairs of an entry with its photos named as they are kept, and the pictures that are to be kept.

    Raises CannotRun for a picture that cannot be taken; nothing is written yet.
    """
    pictures: list[Picture] = []
    named: Pairs = []
    for key, value in pairs:
        if key == "photo" and value:
            paths, found = taken(value, folder, full)
            pictures += found
            named.append((key, paths[0] if len(paths) == 1 else list(paths)))
        else:
            named.append((key, value))
    return named, pictures
