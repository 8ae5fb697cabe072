"""export and import: the folder in formats that other programs read, and back."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kgraph import collection, words
from kgraph.api import event_log
from kgraph.api.loaded import Loaded
from kgraph.cli.opening import opened, opened_whole
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.events import Event
from kgraph.exchange.formats import (
    FOLDER,
    FORMATS,
    Export,
    Format,
)
from kgraph.fits import graph as graphs
from kgraph.folder import disk, writing
from kgraph.problems import WrongUse
from kgraph.render.terminal import visible

if TYPE_CHECKING:
    from kgraph.records import Entry

PIECE = 1 << 20
"""Bytes that are written at once."""
MOST_SHOWN = 6
"""Entries that are shown before the question; the rest are counted."""
MOST_FAULTS = 10
LONGEST_S = 86_400
TABLES = ("csv", "xlsx")
TABLE_SUFFIXES = (".csv", ".tsv", ".xlsx", FOLDER)


@click.command(short_help="the folder as RDF, tables or a graph")
@click.option("--to", "name", type=click.Choice(list(FORMATS)), help="Default: by the suffix of FILE.")
@click.option(
    "-o", "output", type=click.Path(path_type=Path), metavar="FILE", help="Default: standard output."
)
@click.option("--inferred", is_flag=True, help="RDF: the answers of `takers` for every part as well.")
@click.option("--places", is_flag=True, help="RDF: the graph multiplied out by place, as `query` sees it.")
@click.option("--validate", is_flag=True, help="RDF: check it by SHACL first; needs pySHACL.")
@click.option(
    "--kind", type=click.Choice(list(words.KINDS)), metavar="KIND", help="Tables: entries of this kind alone."
)
@click.pass_obj
def export(
    settings: Settings,
    name: str | None,
    output: Path | None,
    inferred: bool,
    places: bool,
    validate: bool,
    kind: str | None,
) -> int:
    """The folder in a format that other programs read. `import` reads all but graphml back without loss.

    RDF: the entries as they stand, and what they mean. csv, xlsx: a table for each kind of entry; without
    --kind, csv goes into a folder. graphml: sets, assemblies and parts, and the facts between them.

    Example: kgraph export --to turtle -o facts.ttl
    """
    name = name or _by_suffix(output)
    chosen = FORMATS[name]
    if not chosen.rdf and (inferred or places or validate):
        raise WrongUse("--inferred, --places and --validate are for RDF alone")
    if kind and name not in TABLES:
        raise WrongUse(f"--kind is for {' and '.join(TABLES)} alone")
    graph = opened_whole(settings).graph
    with steps("writing", len(graph.data.known("part")) if inferred else None) as step:
        wanted = Export(graph, inferred, places, kind or "", step)
        if validate and _is_invalid(wanted):
            return 1
        if name == "csv" and output is not None and not kind and output.suffix.lower() != ".csv":
            _give_folder(wanted, output)
        else:
            _give(chosen, wanted, output)
    return 0


def _give_folder(wanted: Export, folder: Path) -> None:
    """A CSV file for each kind; where one stands from before and its kind has no entry left, it gets none."""
    from kgraph.exchange import tables

    stands = [kind for kind in words.KINDS if (folder / f"{kind}.csv").exists()]
    found = tables.tables(wanted, stands)
    # Each is made once before any is written: what cannot be written is then told while nothing has changed.
    made = [(table.kind, b"".join(tables.csv_lines(table))) for table in found]
    writing.create_folder(folder)
    for kind, data in made:
        writing.write_over(folder / f"{kind}.csv", data)
    print(f"written: {counted(len(made), 'table')} in {visible(str(folder))}")


def _by_suffix(output: Path | None) -> str:
    if output is None:
        raise WrongUse(f"export in which format? --to takes {', '.join(FORMATS)}")
    found = [name for name, one in FORMATS.items() if output.suffix.lower() in one.suffixes]
    if not found:
        raise WrongUse(f"no format is known by the suffix {output.suffix!r}; --to takes {', '.join(FORMATS)}")
    return found[0]


def _give(chosen: Format, wanted: Export, output: Path | None) -> None:
    pieces = _large(chosen.writer()(wanted))
    if output is None:
        for piece in pieces:
            sys.stdout.buffer.write(piece)
        sys.stdout.buffer.flush()
    else:
        writing.write_over(output, pieces)
        print(f"written: {visible(str(output))}")


def _large(chunks: Iterable[bytes]) -> Iterator[bytes]:
    """The same bytes in pieces that are worth a call to the system."""
    kept: list[bytes] = []
    size = 0
    for chunk in chunks:
        kept.append(chunk)
        size += len(chunk)
        if size >= PIECE:
            yield b"".join(kept)
            kept, size = [], 0
    yield b"".join(kept)


def _is_invalid(wanted: Export) -> bool:
    from kgraph.exchange import validating

    faults = validating.faults(wanted)
    for fault in faults:
        print(visible(fault), file=sys.stderr)
    if faults:
        print("nothing was written", file=sys.stderr)
    return bool(faults)


# What import and merge share -------------------------------------------------------------------


def load_or_empty(settings: Settings) -> Loaded:
    """The folder; one that is there and holds no fact file yet is an empty one."""
    if any(disk.fact_files(folder) for folder in settings.folders):
        return opened(settings)
    data = collection.build([])
    return Loaded(data, graphs.build(data), ())


def slug(text: str) -> str:
    """A text as part of a file name: small letters of ASCII, digits and `-`."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in text.lower()).strip("-")[:60] or "file"


def target_for(settings: Settings, loaded: Loaded, stem: str, new: Sequence[Entry]) -> Path:
    """The file of a stem that entries go to; for events one that is read behind all earlier ones."""
    folder = settings.folders[0]
    target = folder / f"{stem}.yaml"
    if any(isinstance(e, Event) for e in new):
        last = event_log.file_for_events(loaded.graph, folder)
        if last.exists() and last.parts > target.parts:
            return last.with_name(f"{last.stem}_{target.name}")
    return target


def show_texts(texts: Sequence[str], most: int) -> None:
    """The first entries in full; the rest are counted."""
    for text in texts[:most]:
        # Line by line: an escape in a text must not look like an entry of its own.
        print("\n".join(map(visible, text.rstrip("\n").split("\n"))))
    if len(texts) > most:
        print(f"... and {len(texts) - most} more")


def kinds_of(entries: Sequence[Entry]) -> str:
    """How many entries there are of each kind."""
    counts = Counter(entry.kind for entry in entries)
    return ", ".join(f"{counts[kind]} {kind}" for kind in words.KINDS if counts[kind])


def counted(number: int, what: str) -> str:
    """A number with its word, the word in the plural where it is not one."""
    many = f"{what[:-1]}ies" if what.endswith("y") else f"{what}s"
    return f"{number} {what if number == 1 else many}"


def tell_some(lines: Sequence[str], more: str) -> None:
    """The first of what is to be told, and how many more there are."""
    for line in lines[:MOST_FAULTS]:
        print(visible(line), file=sys.stderr)
    if len(lines) > MOST_FAULTS:
        print(f"... and {len(lines) - MOST_FAULTS} more{more}", file=sys.stderr)
