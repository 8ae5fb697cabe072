"""A copy of the program that stays as it is while faults are put into it, and folders to run it on."""

from __future__ import annotations

import compileall
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LONGEST_S = 120
"""No command here may take longer; one that does has hung."""


@dataclass(frozen=True, slots=True)
class Build:
    """A program as it is shipped, or with one safety taken out."""

    place: Path
    broken: str = ""

    def command(self, words: Sequence[str]) -> list[str]:
        """The argument list that runs it with these words."""
        module = ["tests.faults.broken", self.broken, "--"] if self.broken else ["kgraph"]
        return [sys.executable, "-m", *module, *words]

    def environment(self, **more: str) -> dict[str, str]:
        """What the program sees of its surroundings: nothing that changes from run to run."""
        kept = {k: v for k, v in os.environ.items() if k in ("PATH", "HOME", "LANG", "TMPDIR")}
        fixed = {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONHASHSEED": "0", "KGRAPH_CACHE": "off"}
        return {**kept, **fixed, **more}

    def run(self, words: Sequence[str], **more: str) -> subprocess.CompletedProcess[bytes]:
        """Run a command to its end, in the folder of the copy."""
        return self.run_as(self.command(words), **more)

    def run_as(
        self, arguments: Sequence[str], how: Mapping[str, Any] | None = None, **more: str
    ) -> subprocess.CompletedProcess[bytes]:
        """Run any argument list in the surroundings of the program; `how` is for `subprocess.run`."""
        usual = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "timeout": LONGEST_S}
        found: subprocess.CompletedProcess[bytes] = subprocess.run(
            arguments,
            cwd=self.place,
            env=self.environment(**more),
            stdin=subprocess.DEVNULL,
            **{**usual, **(how or {})},
        )
        return found


@contextmanager
def frozen(broken: str = "") -> Iterator[Build]:
    """A copy of the program in a temporary folder, compiled, so that each start makes the same calls."""
    with tempfile.TemporaryDirectory(prefix="kgraph-faults-") as name:
        place = Path(name).resolve()
        skip = shutil.ignore_patterns("__pycache__", "*.tmp")
        shutil.copytree(ROOT / "kgraph", place / "kgraph", ignore=skip)
        shutil.copytree(ROOT / "data", place / "data")
        (place / "tests").mkdir()
        shutil.copy(ROOT / "tests" / "__init__.py", place / "tests")
        shutil.copytree(ROOT / "tests" / "faults", place / "tests" / "faults", ignore=skip)
        compileall.compile_dir(place, quiet=1)
        yield Build(place, broken)


Files = dict[str, bytes]
"""The files below a folder, by their path in it, without the lock and without temporary files."""


def files_of(folder: Path) -> Files:
    """The facts, pages or indexes of a folder as bytes; nothing for one that is not there."""
    found = (p for p in folder.rglob("*") if p.is_file())
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in found
        if not is_temporary(p.name) and p.name != ".kgraph.lock"
    }


def is_temporary(name: str) -> bool:
    """Whether a name is one that a writer gives to what is not finished."""
    return name.endswith(".tmp") or name.startswith(".new-")


def temporary_files(folder: Path) -> list[str]:
    """What writers have left unfinished below a folder."""
    return sorted(p.name for p in folder.rglob("*") if is_temporary(p.name))


def put(folder: Path, files: Files) -> None:
    """Make a folder hold exactly these files."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
