"""import: entries from a file that others wrote are checked, shown and appended, all or none."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kgraph import collection, words
from kgraph.api import event_log
from kgraph.api.loaded import Loaded
from kgraph.checks.newcomers import newcomers as newcomers_of
from kgraph.cli import events, newcomers
from kgraph.cli.exchanging import counted, kinds_of, load_or_empty, show_texts, slug, target_for, tell_some
from kgraph.cli.numbers import Within
from kgraph.cli.picturing import named_as_kept
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.exchange.csv_in import ENCODINGS
from kgraph.exchange.formats import FOLDER, READERS, FoundEntries, Incoming, Pairs, RowFault, reader
from kgraph.exchange.fresh import not_yet
from kgraph.folder import disk, schema, writing
from kgraph.photographs import Picture, keep
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order
from kgraph.records import photos_of
from kgraph.render.terminal import visible

if TYPE_CHECKING:
    from kgraph.exchange.again import Correction
    from kgraph.records import Entry

MOST_SHOWN = 6
"""Entries that are shown before the question; the rest are counted."""
LONGEST_S = 86_400
TABLE_SUFFIXES = (".csv", ".tsv", ".xlsx", FOLDER)


@click.command("import", short_help="entries from a file that `export` or others wrote")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option(
    "--seconds",
    type=Within(0.1, LONGEST_S),
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
@click.option(
    "--sheet", "sheets", multiple=True, metavar="TEXT", help="Tables: this sheet alone; again for more."
)
@click.option("--skip-bad", is_flag=True, help="Tables: leave out rows with faults, and list them.")
@click.option(
    "--wrong",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Tables: write the rows with faults here as a table, with a column that says why.",
)
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
    sheets: tuple[str, ...],
    skip_bad: bool,
    wrong: Path | None,
    encoding: str,
) -> int:
    """Append the entries of a file to the folder, but for those that are there already.

    RDF, or tables: .csv, .xlsx, a folder of .csv. How the columns of a table are meant is told by --map;
    else it is guessed, shown and asked. What a table says otherwise than when it was last imported corrects
    the facts read then. A `photo` is copied from the folder of the file; nothing else is fetched or opened,
    whatever the file names. All entries are written, or none, unless --skip-bad leaves a wrong one out.

    Example: kgraph import facts.ttl --yes
    """
    suffix = FOLDER if file.is_dir() else file.suffix.lower()
    if suffix not in TABLE_SUFFIXES and (
        mapping or kind or sheets or skip_bad or wrong or encoding != "utf-8"
    ):
        raise WrongUse("--map, --kind, --sheet, --skip-bad, --wrong and --encoding are for tables alone")
    if wrong and suffix != FOLDER and wrong.suffix.lower() != suffix:
        raise WrongUse(f"the wrong rows are written as they came: --wrong names a {suffix} file")
    told = (mapping, disk.bytes_of(mapping)) if mapping else None
    data = b"" if suffix == FOLDER else _bytes_of(file, suffix)
    with steps("reading"):
        found = reader(suffix)(Incoming(file, data, seconds, told, kind or "", encoding, sheets))
    with _wrong_rows(found, wrong, suffix, skip_bad) as bad:
        return _import(settings, file, found, yes, bad)


def _import(settings: Settings, file: Path, found: FoundEntries, yes: bool, bad: _Bad) -> int:
    for note in found.notes:
        print(visible(f"{file}: {note}"), file=sys.stderr)
    tell_some([f"{p.where}: warning: {p.says}" for p in found.warnings], "")
    asking = sys.stdin.isatty() and not (yes and not found.doubts and not found.asked)
    if found.guess and asking and not _is_meant_so(found):
        print("nothing was written", file=sys.stderr)
        return 1
    if found.doubts and not asking:
        _show_guess(found)
        raise CannotRun(*found.doubts, "nothing was written: mend what is printed, and say --map FILE")
    come = _checked(file, found, bad, _not_left_out(found, asking, bad))
    if found.guess and not asking and not yes:
        _show_guess(found)
        raise WrongUse(
            "nothing was written: so the columns are understood; say --yes, or say it by --map FILE"
        )
    return _add(settings, file, found, come, yes, bad)


def _with_pictures(settings: Settings, file: Path, come: list[_Come]) -> tuple[list[_Come], list[Picture]]:
    """What came, with its photos named as they are kept, and the pictures that lie beside the file."""
    texts, pictures, missing = named_as_kept(settings.folders[0], file, [one.entry for one in come])
    tell_some([f"{path} is neither beside {file} nor in the folder" for path in missing], "")
    return [one.worded(text) if text else one for one, text in zip(come, texts, strict=True)], pictures


# Rows that are wrong --------------------------------------------------------------------------


@dataclass
class _Bad:
    """The rows with faults so far, and whether they are left out or stop the import."""

    skip: bool
    faults: list[RowFault] = field(default_factory=list)

    def add(self, faults: Sequence[RowFault]) -> None:
        """Note faults; raises CannotRun with all of them unless they are left out."""
        self.faults += faults
        if faults and not self.skip:
            raise CannotRun(*in_order(f.problem for f in faults))
        for problem in in_order(f.problem for f in faults):
            print(visible(f"skipped: {problem}"), file=sys.stderr)


@contextmanager
def _wrong_rows(found: FoundEntries, target: Path | None, suffix: str, skip: bool) -> Iterator[_Bad]:
    """The rows with faults; come what may, they are at last written as a table where that was asked for."""
    bad = _Bad(skip)
    try:
        yield bad
    finally:
        if target and found.tables and bad.faults:
            from kgraph.exchange import wrong_rows

            tables = wrong_rows.as_tables(found.tables, bad.faults)
            if suffix == FOLDER:
                writing.create_folder(target)
            for path, content in wrong_rows.files(target, suffix, tables):
                writing.write_over(path, content)
            rows = sum(len(cells) - 1 for _, cells in tables)
            print(visible(f"{counted(rows, 'wrong row')} written to {target}"), file=sys.stderr)
        elif bad.faults and found.tables:
            print("--wrong FILE writes these rows as a table, with what is wrong with each", file=sys.stderr)


def _not_left_out(found: FoundEntries, asking: bool, bad: _Bad) -> Sequence[RowFault]:
    """The rows that look like no entry, unless somebody who can be asked leaves them out."""
    if not found.asked or bad.skip or not asking:
        return found.asked
    for fault in found.asked:
        print(visible(str(fault.problem)), file=sys.stderr)
    if not click.confirm(f"leave out {counted(len(found.asked), 'row')}?"):
        return found.asked
    bad.faults += found.asked
    return ()


def _checked(file: Path, found: FoundEntries, bad: _Bad, asked: Sequence[RowFault]) -> list[_Come]:
    """The entries that can be read; raises CannotRun with every fault, each at its place."""
    name = disk.display(file)
    come: list[_Come] = []
    wrong = [*found.skipped, *asked]
    with steps("checking", len(found.entries)) as step:
        for number, pairs in enumerate(found.entries):
            places = found.places[number] if found.places else {"": Where(name, found.lines[number])}
            row = found.rows[number] if found.rows else (0, found.lines[number])
            text = writing.entry_text(pairs)
            entries, problems = schema.entries_of(text.encode(), name)
            faults = [p for p in problems if p.severity == "error"]
            if not faults and not entries:
                faults = problems
            wrong += [RowFault(p._replace(where=_place(p, text, pairs, places)), row) for p in faults]
            if not faults:
                come += [_Come(text, entry.changed(where=places[""]), row) for entry in entries]
            step()
    bad.add(wrong)
    return _without_rows(come, {fault.row for fault in bad.faults}) if found.rows else come


@dataclass(frozen=True, slots=True, eq=False)
class _Come:
    """An entry that came in: its text, itself, the row of the table, and what it puts right."""

    text: str
    entry: Entry
    row: tuple[int, int]
    corrects: Correction | None = None

    def worded(self, text: str, correction: Correction | None = None) -> _Come:
        """The same entry by another text."""
        (entry,), _ = schema.entries_of(text.encode(), "worded")
        return _Come(text, entry.changed(where=self.entry.where), self.row, correction)

    def correcting(self, target: str, correction: Correction | None = None) -> _Come:
        """The same entry with the id of what it puts right."""
        return self.worded(f"{self.text}  corrects: {target}\n", correction)


def _without_rows(come: Sequence[_Come], rows: set[tuple[int, int]]) -> list[_Come]:
    """What came, without anything of a row that is wrong: a row is taken whole or not at all."""
    return [one for one in come if one.row not in rows]


def _place(fault: Problem, text: str, pairs: Pairs, places: Mapping[str, Where]) -> Where:
    """Where the key that a fault of its text is about stands in the table; the row, where it is none."""
    line = fault.where.line if fault.where else 1
    # Each key begins a line of the text, two places in; a list of mappings takes further ones, deeper in.
    begun = [at for at, row in enumerate(text.splitlines(), 1) if row[2:3] != " "]
    key = pairs[max(sum(at <= line for at in begun) - 1, 0)][0]
    return places[""] if fault.code == "missing-key" else places.get(key, places[""])


# Beside what the folder says ------------------------------------------------------------------


def _add(settings: Settings, file: Path, found: FoundEntries, come: list[_Come], yes: bool, bad: _Bad) -> int:
    """Show what of the entries is new, and write it if it is right and wanted."""
    come, pictures = _with_pictures(settings, file, come)
    seen = event_log.bytes_of(settings.folders)
    loaded = load_or_empty(settings)
    fresh, gone = _new(loaded, found, come)
    if not fresh:
        _tell_gone(gone)
        print(f"nothing new: {counted(len(come), 'entry')} read, all of them there already")
        return 0 if come else 1
    new = _beside(loaded, found, fresh, bad)
    if not new:
        print("nothing was written: every new row is wrong", file=sys.stderr)
        return 1
    entries = [one.entry for one in new]
    texts = [*_withdrawals(new), *(one.text for one in new)]
    target = target_for(settings, loaded, f"import-{slug(file.stem)}", entries)
    with events.told_at_the_end(yes):
        show_texts(texts, MOST_SHOWN)
        print(f"new: {kinds_of(entries)}; {len(come) - len(fresh)} of {len(come)} are there already")
        _tell_corrections(new)
        _tell_gone(gone)
        names = newcomers.told_in_bulk(newcomers_of(loaded.data, entries))
        newcomers.tell(names)
        if not newcomers.agreed(names, yes) or (not yes and not events.agreed("write them?")):
            print("nothing was written", file=sys.stderr)
            return 1
        named = {path for entry in entries for path in photos_of(entry)}
        keep(settings.folders[0], [p for p in pictures if p.path in named])
        event_log.append(settings.folders, target, texts, seen)
        print(f"written: {counted(len(texts), 'entry')} to {visible(disk.display(target))}")
    return 0


def _new(loaded: Loaded, found: FoundEntries, come: Sequence[_Come]) -> tuple[list[_Come], Sequence[Entry]]:
    """What of all that came is not in the folder, and what a table does not say any more.

    Of a table it may stand in another row now, and put right what was read from it before.
    """
    entries = [one.entry for one in come]
    if not found.sources:
        return [come[i] for i in not_yet(loaded.data.entries, entries)], ()
    from kgraph.exchange import again

    beside = again.compare(loaded.data, found.sources, entries)
    stays = "this was taken back or corrected in the folder, and stays so"
    tell_some([f"{entries[i].where}: {stays}" for i in beside.kept], "")
    right: dict[int, tuple[str, Correction | None]] = {i: (target, None) for i, target in beside.anew.items()}
    right |= {c.new: (c.target, c) for c in beside.corrections}
    return [come[i].correcting(*right[i]) if i in right else come[i] for i in beside.new], beside.gone


def _withdrawals(new: Sequence[_Come]) -> list[str]:
    """The texts of the entries that take back what is put right."""
    return [writing.entry_text(one.corrects.withdrawal()) for one in new if one.corrects]


def _tell_corrections(new: Sequence[_Come]) -> None:
    lines = []
    for c, entry in ((one.corrects, one.entry) for one in new if one.corrects):
        was, now = dict(c.old.pairs), dict(entry.pairs)
        said = ", ".join(f"{k} was {was.get(k, 'not said')}, is {now.get(k, 'not said')}" for k in c.changed)
        lines.append(f"corrects {c.old.where} ({c.old.kind}): {said}")
    tell_some(lines, "")


def _tell_gone(gone: Sequence[Entry]) -> None:
    """What the table does not say any more stays, and is told with the command that takes it back."""
    from kgraph.exchange.again import id_of

    says = "the table does not say this any more; `kgraph withdraw"
    tell_some([f"{e.where}: {says} {id_of(e)}` takes it back" for e in gone], "")


def _beside(loaded: Loaded, found: FoundEntries, new: list[_Come], bad: _Bad) -> list[_Come]:
    """What of the new entries is right beside what the folder says, by the checks of `add`.

    Raises CannotRun with every fault; where rows may be skipped what is wrong is listed and left out.
    """
    from kgraph.checks import of_neighbours

    while new:
        problems = _problems_beside(loaded, new)
        errors = in_order(p for p in problems if p.severity == "error")
        if not errors:
            break
        wrong = _wrong_ones(loaded, new, errors)
        places = {one.entry.where: one.row for one in new}
        bad.faults += [RowFault(p, places[p.where]) for p in errors if p.where in places]
        if not wrong or not bad.skip:
            raise CannotRun(*errors, "nothing was written")
        for problem in errors:
            print(visible(f"skipped: {problem}"), file=sys.stderr)
        rows = {new[i].row for i in wrong} if found.rows else set()
        new = _without_rows([one for i, one in enumerate(new) if i not in wrong], rows)
    doubts = of_neighbours(problems) if new else []
    tell_some([f"warning: {p}" for p in doubts], " that `check` will list")
    return new


def _problems_beside(loaded: Loaded, new: Sequence[_Come]) -> list[Problem]:
    from kgraph.checks import new_problems
    from kgraph.checks.newcomers import said_in_vain

    entries = [one.entry for one in new]
    withdrawals = schema.entries_of("".join(_withdrawals(new)).encode(), "corrections")[0]
    with steps("checking"):
        after = collection.build([*loaded.data.entries, *withdrawals, *entries])
        return [*new_problems(after, (loaded.data, loaded.graph)), *said_in_vain(loaded.data, entries)]


def _wrong_ones(loaded: Loaded, new: Sequence[_Come], errors: Sequence[Problem]) -> set[int]:
    """The entries that errors stand at; where they all stand at older ones, those that are wrong alone."""
    from kgraph.checks import problems_of_new

    places = {p.where for p in errors}
    at = {i for i, one in enumerate(new) if one.entry.where in places}
    return at or {
        i
        for i, one in enumerate(new)
        if any(p.severity == "error" for p in problems_of_new(loaded.data, one.entry))
    }


# The guess ------------------------------------------------------------------------------------


def _is_meant_so(found: FoundEntries) -> bool:
    """Whether the columns are meant as they were guessed, by the user's word."""
    _show_guess(found)
    for doubt in found.doubts:
        print(visible(str(doubt)), file=sys.stderr)
    return click.confirm("are the columns meant so?")


def _show_guess(found: FoundEntries) -> None:
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
