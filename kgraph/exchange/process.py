"""Work in a process of its own: with a time limit, a bound on memory, and nothing left to open.

The parent sends one line of JSON (the job) and then the data; the process sends one JSON object back, its
result or `{"problems": [...]}`. It is ended when the time is up, wherever it is.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import IO, Any, BinaryIO

from kgraph import system
from kgraph.folder.disk import display, reason
from kgraph.problems import CannotRun, Problem, Stop, Where

MOST_BYTES = 512 << 20
"""The largest result that is sent back."""
NO_ROOM = "make room there, or set TMPDIR to another folder"


# The parent -----------------------------------------------------------------------------------


def run(module: str, job: Mapping[str, Any], data: Iterable[bytes]) -> dict[str, Any]:
    """What the process of a module answers to a job that holds `file`, `seconds` and `memory_mib`.

    Raises CannotRun with every problem that it sends, and where time or memory is used up.
    """
    paths = os.pathsep.join(p for p in sys.path if p)
    environment = {**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8"}
    with _sent(job, data) as sent, tempfile.TemporaryFile() as told:
        # A session of its own: Ctrl-C reaches the parent alone, which then ends the process.
        process = subprocess.Popen(
            [sys.executable, "-m", module], stdin=sent, stdout=told, stderr=subprocess.PIPE, env=environment,
            start_new_session=True,
        )  # fmt: skip
        try:
            _, err = process.communicate(timeout=job["seconds"])
        except subprocess.TimeoutExpired:
            says = f"not done after {job['seconds']:g} s"
            raise CannotRun(Problem(Where(job["file"]), "time", says, "--seconds sets the limit")) from None
        finally:
            with contextlib.suppress(OSError):
                process.kill()
            process.wait()
        told.seek(0)
        return _received(job, process.returncode, told.read(), err)


@contextlib.contextmanager
def _sent(job: Mapping[str, Any], data: Iterable[bytes]) -> Iterator[IO[bytes]]:
    """What the process reads; CannotRun where the folder for temporary files has no room for it."""
    sent = tempfile.TemporaryFile()  # noqa: SIM115
    try:
        sent.write(json.dumps(job).encode() + b"\n")
        sent.writelines(data)
        sent.seek(0)
    except OSError as error:
        # Closing tries to write the same again.
        with contextlib.suppress(OSError):
            sent.close()
        says = f"no room to work on {display(job['file'])}: {reason(error)}"
        raise CannotRun(Problem(Where(tempfile.gettempdir()), "no-room", says, NO_ROOM)) from None
    with sent:
        yield sent


def _received(job: Mapping[str, Any], status: int, out: bytes, err: bytes) -> dict[str, Any]:
    try:
        result: dict[str, Any] = json.loads(out)
    except ValueError:
        if status < 0 or b"memory" in err.lower():
            raise CannotRun(no_memory(job)) from None
        last = err.decode("utf-8", "replace").strip().rsplit("\n", 1)[-1] or f"status {status}"
        raise CannotRun(Problem(Where(job["file"]), "failed", f"this cannot be done: {last}")) from None
    if "problems" in result:
        raise CannotRun(*map(problem, result["problems"]))
    return result


def no_memory(job: Mapping[str, Any]) -> Problem:
    """That the work needs more memory than it may have."""
    says = f"more than {job['memory_mib']} MiB of memory is needed"
    return Problem(Where(job["file"]), "memory", says, "give it less at a time")


def problem(said: dict[str, Any]) -> Problem:
    """A problem from what `said` made of it."""
    where = said["where"]
    return Problem(
        Where(*where) if where else None, said["code"], said["says"], said["mend"], said["severity"]
    )


# The process ----------------------------------------------------------------------------------


def serve(answer: Callable[[dict[str, Any], BinaryIO], dict[str, Any]]) -> int:
    """Read a job from standard input, work on it within its limits, and write what came of it."""
    data = sys.stdin.buffer
    job = json.loads(data.readline())
    # The parent ends this when its time is up; should the parent be gone, the system does.
    system.bound(job["memory_mib"], int(job["seconds"]) + 2)
    try:
        out = json.dumps(answer(job, data), ensure_ascii=True).encode()
        if len(out) > MOST_BYTES:
            raise CannotRun(
                Problem(Where(job["file"]), "large", f"a result of more than {MOST_BYTES >> 20} MiB")
            )
    except Stop as stop:
        out = json.dumps({"problems": [said(p) for p in stop.problems]}).encode()
    except MemoryError:
        out = json.dumps({"problems": [said(no_memory(job))]}).encode()
    sys.stdout.buffer.write(out)
    sys.stdout.buffer.flush()
    return 0


def said(problem: Problem) -> dict[str, Any]:
    """A problem as JSON can hold it."""
    where = problem.where
    return {
        "where": (where.file, where.line, where.column) if where else None,
        "code": problem.code,
        "says": problem.says,
        "mend": problem.mend,
        "severity": problem.severity,
    }
