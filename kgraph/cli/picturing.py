"""--photo: the pictures that a user gives with an entry; and pages on which photographs are shown."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.photographs import Picture, from_table
from kgraph.records import Entry, Plain, photos_of, plain
from kgraph.render.terminal import visible

if TYPE_CHECKING:
    from kgraph.render.sheet import WrittenPage

_FORMS = {".txt": "text", ".md": "markdown", ".html": "html", ".htm": "html"}
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


def named_as_kept(
    folder: Path, file: Path, entries: Sequence[Entry]
) -> tuple[list[str], list[Picture], list[str]]:
    """(the text of each entry whose photos get other names, else "", pictures, those that are nowhere).

    Their pictures lie in the folder of the file that they came in.
    """
    theirs = file if file.is_dir() else file.parent
    kept, pictures, missing = from_table(theirs, folder, [p for e in entries for p in photos_of(e)])
    texts = []
    for entry in entries:
        old = photos_of(entry)
        new = list(dict.fromkeys(kept.get(path, path) for path in old))
        said: Plain = new[0] if len(new) == 1 else list(new)
        pairs = [(k, said if k == "photo" else plain(v)) for k, v in entry.pairs]
        texts.append("" if new == list(old) else writing.entry_text(pairs))
    return texts, pictures, missing


def form_of(output: Path | None) -> str:
    """The form of a page by the suffix of its file; text where there is none."""
    return _FORMS.get(output.suffix.lower() if output else "", "text")


def give_page(settings: Settings, page: WrittenPage, form: str, output: Path | None) -> None:
    """Print a page, or write it to a file; only HTML opens the photographs that it shows."""
    from kgraph.photographs.thumbnails import thumbnails
    from kgraph.render.sheet import page_in_form

    shown = dict(thumbnails(settings.folders, page.all_photos)) if form == "html" else {}
    text = page_in_form(page, form, shown)
    if output is None:
        sys.stdout.write(text)
    else:
        write_told(output, text.encode("utf-8"))


def write_told(output: Path, data: bytes) -> None:
    """Write a file, and say so."""
    writing.write_over(output, data)
    print(f"written: {visible(str(output))}")
