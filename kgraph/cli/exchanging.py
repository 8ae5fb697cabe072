"""export and import: the folder in formats that other programs read, and back."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kgraph import collection, words
from kgraph.cli import events
from kgraph.cli.loading import Loaded, Settings, load
from kgraph.cli.progress import steps
from kgraph.exchange.formats import FORMATS, READERS, Export, Format, Found, Incoming, reader
from kgraph.exchange.fresh import not_yet
from kgraph.fits import graph as graphs
from kgraph.folder import reading, schema, writing
from kgraph.problems import CannotRun, Problem, Where, WrongUse
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


@click.command(short_help="the folder as RDF")
@click.option("--to", "name", type=click.Choice(list(FORMATS)), help="Default: by the suffix of FILE.")
@click.option(
    "-o", "output", type=click.Path(path_type=Path), metavar="FILE", help="Default: standard output."
)
@click.option("--inferred", is_flag=True, help="RDF: the answers of `takers` for every part as well.")
@click.option("--places", is_flag=True, help="RDF: the graph multiplied out by place, as `query` sees it.")
@click.option("--validate", is_flag=True, help="RDF: check it by SHACL first; needs pySHACL.")
@click.pass_obj
def export(
    settings: Settings, name: str | None, output: Path | None, inferred: bool, places: bool, validate: bool
) -> int:
    """The folder in a format that other programs read. `import` reads it back without loss.

    The entries as they stand, and what they mean: things, facts with certainty and sources, plain links.

    Example: kgraph export --to turtle -o facts.ttl
    """
    chosen = FORMATS[name or _by_suffix(output)]
    if not chosen.rdf and (inferred or places or validate):
        raise WrongUse("--inferred, --places and --validate are for RDF alone")
    graph = load(settings).graph
    with steps("writing", len(graph.data.known("part")) if inferred else None) as step:
        wanted = Export(graph, inferred, places, step)
        if validate and _is_invalid(wanted):
            return 1
        _give(chosen, wanted, output)
    return 0


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
    "--seconds", type=click.FloatRange(0.1, LONGEST_S), default=120.0, show_default=True,
    help="Reading is ended after this time.",
)  # fmt: skip
@click.pass_obj
def import_(settings: Settings, file: Path, yes: bool, seconds: float) -> int:
    """Append the entries of a file to the folder, but for those that are there already.

    Nothing else is fetched or opened, whatever the file names. All are written, or none.

    Example: kgraph import facts.ttl --yes
    """
    found = _read(file, seconds)
    for note in found.notes:
        print(visible(f"{file}: {note}"), file=sys.stderr)
    texts = [writing.entry_text(pairs) for pairs in found.entries]
    come = _checked(file, found, texts)
    seen = events.bytes_of(settings)
    loaded = _load_or_empty(settings)
    new = not_yet(loaded.data.entries, come)
    if not new:
        print(f"nothing new: {_counted(len(come), 'entry')} read, all of them there already")
        return 0 if come else 1
    target = _target(settings, loaded, file, [come[i] for i in new])
    _tell(loaded, [come[i] for i in new], [texts[i] for i in new], len(come))
    if not yes and not _agreed():
        print("nothing was written", file=sys.stderr)
        return 1
    events.append(settings, target, [texts[i] for i in new], seen)
    print(f"written: {_counted(len(new), 'entry')} to {visible(reading.display(target))}")
    return 0


def _read(file: Path, seconds: float) -> Found:
    suffix = file.suffix.lower()
    if suffix not in READERS:
        known = ", ".join(s for s, (_, function) in READERS.items() if not function.startswith("refuse"))
        raise WrongUse(f"{visible(str(file))}: import reads {known}, told by the suffix")
    try:
        data = reading.read_path(file)
    except OSError as error:
        raise CannotRun(f"{reading.display(file)}: {reading.reason(error)}") from None
    with steps("reading"):
        return reader(suffix)(Incoming(file, data, seconds))


def _checked(file: Path, found: Found, texts: Sequence[str]) -> list[Entry]:
    """The entries as they would be read; raises CannotRun with every fault, each at its line of the file."""
    name = reading.display(file)
    come: list[Entry] = []
    wrong: list[Problem] = []
    with steps("checking", len(texts)) as step:
        for line, text in zip(found.lines, texts, strict=True):
            read = reading.read_bytes(text.encode(), name)
            entries, problems = schema.check_file(read)
            errors = [p for p in [*read.problems, *problems] if p.severity == "error"]
            wrong += [Problem(Where(name, line), p.code, p.says, p.mend) for p in errors]
            come += [] if errors else [replace(entry, where=Where(name, line)) for entry in entries]
            step()
    if wrong:
        raise CannotRun(*wrong)
    return come


def _load_or_empty(settings: Settings) -> Loaded:
    """The folder; one that is there and holds no fact file yet is an empty one."""
    if any(reading.fact_files(folder) for folder in settings.folders):
        return load(settings)
    data = collection.build([])
    return Loaded(data, graphs.build(data), ())


def _target(settings: Settings, loaded: Loaded, file: Path, new: Sequence[Entry]) -> Path:
    """The file that entries go to, named for the import; events must stand behind all earlier ones."""
    slug = "".join(c if c.isascii() and c.isalnum() else "-" for c in file.stem.lower()).strip("-")[:60]
    folder = settings.folders[0]
    target = folder / f"import-{slug or 'file'}.yaml"
    if any(isinstance(e, Event) for e in new):
        last = events.file_for_events(loaded, folder)
        if last.exists() and last.parts > target.parts:
            return last.with_name(f"{last.stem}_{target.name}")
    return target


def _tell(loaded: Loaded, new: Sequence[Entry], texts: Sequence[str], read: int) -> None:
    """What would be added: how many of each kind, the first few in full, and what `check` would then find."""
    counts = Counter(entry.kind for entry in new)
    for text in texts[:MOST_SHOWN]:
        # Line by line: an escape in a text must not look like an entry of its own.
        print("\n".join(map(visible, text.rstrip("\n").split("\n"))))
    if len(texts) > MOST_SHOWN:
        print(f"... and {len(texts) - MOST_SHOWN} more")
    kinds = ", ".join(f"{counts[kind]} {kind}" for kind in words.KINDS if counts[kind])
    print(f"new: {kinds}; {read - len(new)} of {read} are there already")
    _tell_faults(loaded, new)


def _tell_faults(loaded: Loaded, new: Sequence[Entry]) -> None:
    from kgraph.checks import check_all

    with steps("checking"):
        before = {(p.code, p.says) for p in check_all(loaded.data, loaded.graph)}
        after = collection.build([*loaded.data.entries, *new])
        found = [p for p in check_all(after, graphs.build(after)) if (p.code, p.says) not in before]
    errors = [p for p in found if p.severity == "error"]
    for problem in errors[:MOST_FAULTS]:
        print(visible(f"then wrong: {problem.says}; {problem.mend}".rstrip("; ")), file=sys.stderr)
    if len(errors) > MOST_FAULTS:
        print(f"... and {len(errors) - MOST_FAULTS} more that `check` would find", file=sys.stderr)


def _agreed() -> bool:
    if not sys.stdin.isatty():
        raise WrongUse("nothing was written: say --yes to write without being asked")
    return click.confirm("write them?")


def _counted(number: int, what: str) -> str:
    many = f"{what[:-1]}ies" if what.endswith("y") else f"{what}s"
    return f"{number} {what if number == 1 else many}"
