"""A query in a process of its own: judged, then run by an engine over N-Triples, or sent to an endpoint.

A property path over a dozen steps can take longer than anyone lives, so the process is ended when the time
is up; and before the query runs, the system gives it no descriptor any more for a file or a socket.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, BinaryIO

from kgraph import system
from kgraph.exchange import endpoint, engines, guard, process
from kgraph.problems import CannotRun, Problem, Stop, Where

MEMORY_MIB = 4096
"""Of address space, not of memory in use: a Python with its libraries and a deep stack takes 1 GiB of it."""

STORE = "store"
"""The code of the fault that a store on disk is out of order."""

MOST_TEXT = 64 << 20
"""The most characters that the cells of a result may have together."""


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be run: the query's text, the file named in errors, and by which engine or endpoint."""

    text: str
    file: str
    seconds: float
    engine: str = "rdflib"
    url: str = ""
    memory_mib: int = MEMORY_MIB
    store: str = ""
    """A store on disk that holds the statements; without one they are sent."""


def run(job: Job, statements: Iterable[bytes]) -> engines.Result:
    """The result of a job over N-Triples.

    Raises CannotRun with every fault of the query, and where time or memory is used up.
    """
    return process.run("kgraph.exchange.apart", asdict(job), statements)


def _answer(said: dict[str, Any], data: BinaryIO) -> engines.Result:
    job = Job(**said)
    if found := guard.faults(job.text, job.file):
        raise CannotRun(*found)
    if job.url:
        return endpoint.ask(job.url, job.text, guard.makes_a_graph(job.text), job.seconds)
    try:
        if job.store:
            result = engines.run_standing(job.store, job.text, system.open_nothing_more)
        else:
            result = engines.run(job.engine, data, job.text, system.open_nothing_more)
    except engines.BadStore as bad:
        raise CannotRun(Problem(Where(job.store), STORE, str(bad))) from None
    except (Stop, MemoryError):
        raise
    except Exception as error:
        words = error.msg if isinstance(error, SyntaxError) else str(error)
        says = " ".join(words.split())[:160] or type(error).__name__
        problem = Problem(Where(job.file), "engine", f"{job.engine} cannot run this: {says}")
        raise CannotRun(problem) from None
    if sum(len(cell[1]) for row in result.get("rows", ()) for cell in row if cell) > MOST_TEXT:
        says = f"a result of more than {MOST_TEXT >> 20} MiB"
        raise CannotRun(Problem(Where(job.file), "large", says, "ask for less"))
    return result


if __name__ == "__main__":
    sys.exit(process.serve(_answer))
