"""export and import: the folder in formats that other programs read, and back."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kgraph import collection, words
from kgraph.checks.newcomers import newcomers as newcomers_of
from kgraph.cli import events, newcomers
from kgraph.cli.loading import load
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings, Whole
from kgraph.exchange.csv_in import ENCODINGS
from kgraph.exchange.formats import (
    FOLDER,
    FORMATS,
    READERS,
    Export,
    Format,
    Found,
    Incoming,
    Pairs,
    reader,
)
from kgraph.exchange.fresh import not_yet
from kgraph.fits import graph as graphs
from kgraph.folder import disk, schema, writing
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order
from kgraph.render.terminal import visible
from kgraph.shelf.ledger import Event

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
    graph = load(settings).graph
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


# import ---------------------------------------------------------------------------------------


@click.command("import", short_help="entries from a file that `export` or others wrote")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--seconds",
    type=click.FloatRange(0.1, LONGEST_S),
    default=120.0,
    show_default=True,
    help="Reading is ended after this time.",
)
@click.option(
    "--map",
    "mapping",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Tables: a file that says which column is which key.",
)
@click.option(
    "--kind",
    type=click.Choice(list(words.KINDS)),
    metavar="KIND",
    help="Tables: the kind of entry of the rows.",
)
@click.option("--skip-bad", is_flag=True, help="Tables: leave out rows with faults, and list them.")
@click.option(
    "--encoding", type=click.Choice(ENCODINGS), default="utf-8", show_default=True, help="CSV: its coding."
)
@click.pass_obj
def import_(
    settings: Settings,
    file: Path,
    yes: bool,
    seconds: float,
    mapping: Path | None,
    kind: str | None,
    skip_bad: bool,
    encoding: str,
) -> int:
    """Append the entries of a file to the folder, but for those that are there already.

    RDF, or tables: .csv, .xlsx, a folder of .csv. How the columns of a table are meant is told by --map;
    else it is guessed, shown and asked. Nothing else is fetched or opened, whatever the file names. All
    entries are written, or none: with a wrong one nothing, unless --skip-bad leaves it out.

    Example: kgraph import facts.ttl --yes
    """
    suffix = FOLDER if file.is_dir() else file.suffix.lower()
    if suffix not in TABLE_SUFFIXES and (mapping or kind or skip_bad or encoding != "utf-8"):
        raise WrongUse("--map, --kind, --skip-bad and --encoding are for tables alone")
    told = (mapping, disk.bytes_of(mapping)) if mapping else None
    data = b"" if suffix == FOLDER else _bytes_of(file, suffix)
    with steps("reading"):
        found = reader(suffix)(Incoming(file, data, seconds, told, kind or "", encoding))
    for note in found.notes:
        print(visible(f"{file}: {note}"), file=sys.stderr)
    for problem in found.warnings:
        print(visible(f"{problem.where}: warning: {problem.says}"), file=sys.stderr)
    asking = bool(found.guess) and sys.stdin.isatty() and not (yes and not found.doubts)
    if asking and not _is_meant_so(found):
        print("nothing was written", file=sys.stderr)
        return 1
    if found.doubts and not asking:
        _show_guess(found)
        raise CannotRun(*found.doubts, "nothing was written: mend what is printed, and say --map FILE")
    texts, come = _checked(file, found, skip_bad)
    if found.guess and not asking and not yes:
        _show_guess(found)
        raise WrongUse(
            "nothing was written: so the columns are understood; say --yes, or say it by --map FILE"
        )
    return _add(settings, file, texts, come, yes, skip_bad)


def _add(
    settings: Settings,
    file: Path,
    texts: Sequence[str],
    come: Sequence[Entry],
    yes: bool,
    skip_bad: bool,
) -> int:
    """Show what of the entries is new, and write it if it is right and wanted."""
    seen = events.bytes_of(settings)
    loaded = load_or_empty(settings)
    new = not_yet(loaded.data.entries, come)
    if not new:
        print(f"nothing new: {counted(len(come), 'entry')} read, all of them there already")
        return 0 if come else 1
    fresh = len(new)
    new = [new[i] for i in _beside(loaded, [come[i] for i in new], skip_bad)]
    if not new:
        print("nothing was written: every new row is wrong", file=sys.stderr)
        return 1
    entries = [come[i] for i in new]
    target = target_for(settings, loaded, f"import-{slug(file.stem)}", entries)
    with events.told_at_the_end(yes):
        show_texts([texts[i] for i in new], MOST_SHOWN)
        print(f"new: {kinds_of(entries)}; {len(come) - fresh} of {len(come)} are there already")
        names = newcomers.told_in_bulk(newcomers_of(loaded.data, entries))
        newcomers.tell(names)
        if not newcomers.agreed(names, yes) or (not yes and not events.agreed("write them?")):
            print("nothing was written", file=sys.stderr)
            return 1
        events.append(settings, target, [texts[i] for i in new], seen)
        print(f"written: {counted(len(new), 'entry')} to {visible(disk.display(target))}")
    return 0


def _beside(loaded: Whole, new: Sequence[Entry], skip_bad: bool) -> list[int]:
    """Which of the new entries, by number, are right beside what the folder says, by the checks of `add`.

    Raises CannotRun with every fault; with `skip_bad` what is wrong is listed and left out.
    """
    from kgraph.checks import of_neighbours

    kept = list(range(len(new)))
    while True:
        found = _problems_beside(loaded, [new[i] for i in kept])
        errors = in_order(p for p in found if p.severity == "error")
        if not errors:
            break
        wrong = _wrong_ones(loaded, new, kept, errors) if skip_bad else set()
        if not wrong:
            raise CannotRun(*errors, "nothing was written")
        for problem in errors:
            print(visible(f"skipped: {problem}"), file=sys.stderr)
        kept = [i for i in kept if i not in wrong]
    doubts = of_neighbours(found)
    for problem in doubts[:MOST_FAULTS]:
        print(visible(f"warning: {problem}"), file=sys.stderr)
    if len(doubts) > MOST_FAULTS:
        print(f"... and {len(doubts) - MOST_FAULTS} more that `check` will list", file=sys.stderr)
    return kept


def _problems_beside(loaded: Whole, new: Sequence[Entry]) -> list[Problem]:
    from kgraph.checks import new_problems
    from kgraph.checks.newcomers import said_in_vain

    with steps("checking"):
        after = collection.build([*loaded.data.entries, *new])
        return [*new_problems(after, (loaded.data, loaded.graph)), *said_in_vain(loaded.data, new)]


def _wrong_ones(
    loaded: Whole, new: Sequence[Entry], kept: Sequence[int], errors: Sequence[Problem]
) -> set[int]:
    """The entries that errors stand at; where they all stand at older ones, those that are wrong alone."""
    from kgraph.checks import problems_of_new

    places = {p.where for p in errors}
    at = {i for i in kept if new[i].where in places}
    return at or {i for i in kept if any(p.severity == "error" for p in problems_of_new(loaded.data, new[i]))}


def _is_meant_so(found: Found) -> bool:
    """Whether the columns are meant as they were guessed, by the user's word."""
    _show_guess(found)
    for doubt in found.doubts:
        print(visible(str(doubt)), file=sys.stderr)
    return click.confirm("are the columns meant so?")


def _show_guess(found: Found) -> None:
    """How the columns were understood, as a mapping file that can be kept and changed."""
    for line in found.guess.splitlines():
        print(visible(line))


def _bytes_of(file: Path, suffix: str) -> bytes:
    if suffix not in READERS:
        known = ", ".join(
            s for s, (_, name) in READERS.items() if not name.startswith("refuse") and s != FOLDER
        )
        raise WrongUse(f"{visible(str(file))}: import reads {known}, told by the suffix, or a folder of .csv")
    return disk.bytes_of(file)


def _checked(file: Path, found: Found, skip_bad: bool) -> tuple[list[str], list[Entry]]:
    """The texts and entries that can be read; raises CannotRun with every fault, each at its place.

    With `skip_bad` what is faulty is listed and left out.
    """
    name = disk.display(file)
    texts: list[str] = []
    come: list[Entry] = []
    wrong = list(found.skipped)
    with steps("checking", len(found.entries)) as step:
        for number, pairs in enumerate(found.entries):
            places = found.places[number] if found.places else {"": Where(name, found.lines[number])}
            text = writing.entry_text(pairs)
            entries, problems = schema.entries_of(text.encode(), name)
            faults = [p for p in problems if p.severity == "error"]
            wrong += [p._replace(where=_place(p, text, pairs, places)) for p in faults]
            if not faults and entries:
                texts.append(text)
                come += [entry.changed(where=places[""]) for entry in entries]
            elif not faults:
                wrong += [p._replace(where=_place(p, text, pairs, places)) for p in problems]
            step()
    if wrong and not skip_bad:
        raise CannotRun(*in_order(wrong))
    for problem in in_order(wrong):
        print(visible(f"skipped: {problem}"), file=sys.stderr)
    return texts, come


def _place(fault: Problem, text: str, pairs: Pairs, places: Mapping[str, Where]) -> Where:
    """Where the key that a fault of its text is about stands in the table; the row, where it is none."""
    line = fault.where.line if fault.where else 1
    # Each key begins a line of the text, two places in; a list of mappings takes further ones, deeper in.
    begun = [at for at, row in enumerate(text.splitlines(), 1) if row[2:3] != " "]
    key = pairs[max(sum(at <= line for at in begun) - 1, 0)][0]
    return places[""] if fault.code == "missing-key" else places.get(key, places[""])


def load_or_empty(settings: Settings) -> Whole:
    """The folder; one that is there and holds no fact file yet is an empty one."""
    if any(disk.fact_files(folder) for folder in settings.folders):
        return load(settings)
    data = collection.build([])
    return Whole(graphs.build(data))


def slug(text: str) -> str:
    """A text as part of a file name: small letters of ASCII, digits and `-`."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in text.lower()).strip("-")[:60] or "file"


def target_for(settings: Settings, loaded: Whole, stem: str, new: Sequence[Entry]) -> Path:
    """The file of a stem that entries go to; for events one that is read behind all earlier ones."""
    folder = settings.folders[0]
    target = folder / f"{stem}.yaml"
    if any(isinstance(e, Event) for e in new):
        last = events.file_for_events(loaded, folder)
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
