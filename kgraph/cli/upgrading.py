"""upgrade: of which format the fact files are, and whether a later one is to be written."""

from __future__ import annotations

import sys

import click

from kgraph.cli.asking import print_json
from kgraph.cli.settings import Settings
from kgraph.folder import disk, formats, reading
from kgraph.problems import CannotRun
from kgraph.render.terminal import table


@click.command(short_help="of which format the fact files are")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def upgrade(settings: Settings, as_json: bool) -> int:
    """Of which format each fact file is, and whether this program would write it in a later one.

    There is one format, 1, and a file that names none is of it: nothing is written. Of files of a later
    format this program answers from what it knows. Exit status 1 if there are such.

    Example: kgraph upgrade
    """
    found = []
    for folder in settings.folders:
        for read in map(reading.read_file, disk.fact_files(folder)):
            if read.unread:
                raise CannotRun(*read.problems)
            stated = formats.named(read)[0]
            found.append((read.path, stated or formats.KNOWN, stated is not None))
    later = [row for row in found if row[1] > formats.KNOWN]
    if as_json:
        rows = [{"file": file, "format": number, "named": named} for file, number, named in found]
        print_json({"question": {"command": "upgrade"}, "answers": rows, "known": formats.KNOWN, "notes": []})
        return 1 if later else 0
    cells = [[file, str(number), "named" if named else "by default"] for file, number, named in found]
    sys.stdout.write(table(("file", "format", ""), cells, sys.stdout.isatty()))
    if later:
        says = f"{len(later)} of {len(found)} files are of a later format than {formats.KNOWN}"
        print(f"{says}; `kgraph check` lists what is left out", file=sys.stderr)
        return 1
    print(f"every file is of format {formats.KNOWN}, the latest: there is nothing to write", file=sys.stderr)
    return 0
