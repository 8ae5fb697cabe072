"""What differs from one system to another, tried by taking it away where it is there."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
import types
import warnings
from pathlib import Path, PureWindowsPath
from typing import Any

import pytest

from kgraph import system
from kgraph.folder import locking
from kgraph.folder.writing import append
from kgraph.problems import CannotRun
from tests.support import ROOT

ELSEWHERE = ROOT / "tests" / "elsewhere"
NEW = "- set: Norvane 7\n"


def _python(*words: str, **more: Any) -> subprocess.Popen[str]:
    """A process in which what only some systems have is not there."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ELSEWHERE), str(ROOT)])}
    return subprocess.Popen([sys.executable, "-c", *words], env=environment, text=True, **more)


# Locks ----------------------------------------------------------------------------------------

MANY = """
import sys
from pathlib import Path
from kgraph.folder.writing import append
folder, name = Path(sys.argv[1]), sys.argv[2]
for number in range(40):
    append(folder, folder / "a.yaml", [f"- set: {name} {number}\\n"])
"""


def test_writers_without_locks_of_the_system_lose_nothing(tmp_path: Path) -> None:
    writers = [_python(MANY, str(tmp_path), name) for name in "AB"]
    assert [writer.wait(120) for writer in writers] == [0, 0]
    lines = sorted((tmp_path / "a.yaml").read_text(encoding="utf-8").splitlines())
    assert lines == sorted(f"- set: {name} {number}" for name in "AB" for number in range(40))
    assert sorted(os.listdir(tmp_path)) == [".kgraph.lock", "a.yaml"]


HELD = """
import sys, time
from pathlib import Path
from kgraph.folder import locking
with locking.locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


def test_what_a_killed_writer_left_in_place_of_a_lock_holds_nobody_up(tmp_path: Path) -> None:
    holder = _python(HELD, str(tmp_path), stdout=subprocess.PIPE)
    assert holder.stdout
    assert holder.stdout.readline() == "held\n"
    waiting = _python(MANY, str(tmp_path), "A")
    time.sleep(1.0)
    assert (tmp_path / ".kgraph.lock.held").exists()
    assert waiting.poll() is None
    assert not (tmp_path / "a.yaml").exists()
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    holder.stdout.close()
    assert waiting.wait(60) == 0
    assert sorted(os.listdir(tmp_path)) == [".kgraph.lock", "a.yaml"]


def test_the_lock_of_windows_is_taken_through_the_library(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same calls as there; beneath them the library has this system's lock."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import filelock  # noqa: F401
    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setattr(system, "ON_WINDOWS", True)
    monkeypatch.setattr(locking, "LOCK_WAIT_S", 0.05)
    append(tmp_path, tmp_path / "a.yaml", [NEW])
    with locking.locked(tmp_path), pytest.raises(CannotRun, match="another program has been writing"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    append(tmp_path, tmp_path / "a.yaml", ["- set: Norvane 8\n"])
    assert (tmp_path / "a.yaml").read_text(encoding="utf-8") == f"{NEW}- set: Norvane 8\n"
    assert sorted(os.listdir(tmp_path)) == [".kgraph.lock", "a.yaml"]


# Opening --------------------------------------------------------------------------------------


def test_no_link_is_followed_where_opening_cannot_refuse_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / locking.LOCK_NAME).symlink_to(tmp_path / "elsewhere")
    monkeypatch.setattr(system, "NO_FOLLOW", 0)
    with pytest.raises(CannotRun, match=r"kgraph\.lock"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert os.listdir(tmp_path) == [locking.LOCK_NAME]


def test_no_pipe_is_waited_for_where_opening_cannot_refuse_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    os.mkfifo(tmp_path / "a.yaml")
    monkeypatch.setattr(system, "NO_WAIT", 0)
    with pytest.raises(CannotRun, match="not a regular file"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])


# Windows, as far as it can be tried elsewhere ------------------------------------------------------


def test_a_file_that_somebody_reads_is_replaced_when_he_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, refused = os.replace, []

    def refuse_twice(source: Path, target: Path) -> None:
        if len(refused) < 2:
            refused.append(target)
            raise PermissionError(errno.EACCES, "in use")
        real(source, target)

    (tmp_path / "a.yaml").write_text("- set: Norvane 1\n", encoding="utf-8")
    monkeypatch.setattr(os, "replace", refuse_twice)
    with pytest.raises(CannotRun, match="in use"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    refused.clear()
    monkeypatch.setattr(system, "ON_WINDOWS", True)
    source = tmp_path / "b"
    source.write_bytes(b"b")
    system.replace(source, tmp_path / "a.yaml")
    assert len(refused) == 2
    assert (tmp_path / "a.yaml").read_bytes() == b"b"


def test_nobody_is_refused_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(source: Path, target: Path) -> None:
        raise PermissionError(errno.EACCES, "in use")

    monkeypatch.setattr(os, "replace", refuse)
    monkeypatch.setattr(system, "ON_WINDOWS", True)
    monkeypatch.setattr(system, "REPLACE_WAIT_S", 0.05)
    with pytest.raises(PermissionError):
        system.replace(tmp_path / "a", tmp_path / "b")


def test_no_process_is_asked_where_asking_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(os, "kill", lambda pid, how: asked.append(pid))
    assert system.is_alive(os.getppid())
    assert asked == [os.getppid()]
    monkeypatch.setattr(system, "ON_WINDOWS", True)
    assert system.is_alive(os.getppid())
    assert not system.is_alive(os.getpid())
    assert asked == [os.getppid()]


def test_a_closed_pipe_is_known_by_what_either_system_says(monkeypatch: pytest.MonkeyPatch) -> None:
    assert system.is_closed_pipe(BrokenPipeError(errno.EPIPE, "x"))
    assert not system.is_closed_pipe(OSError(errno.EINVAL, "x"))
    monkeypatch.setattr(system, "ON_WINDOWS", True)
    assert system.is_closed_pipe(OSError(errno.EINVAL, "x"))
    assert not system.is_closed_pipe(OSError(errno.EINVAL, "x", "a.yaml"))


# Names ----------------------------------------------------------------------------------------

DEVICES = ("CON", "con.yaml", "Prn", "aux.a.yaml", "NUL", "COM1", "com9.yaml", "LPT1", "com\u00b9", "CONIN$")
OTHERS = ("bench.yaml", "console.yaml", "com10.yaml", "com", "aux1", "lpt", "lpt0", "xcon", "nul_", "a.con")


@pytest.mark.parametrize("name", DEVICES + OTHERS)
def test_the_names_of_devices_are_those_that_python_knows(name: str) -> None:
    """Against `pathlib` of Python, which knows them for paths of Windows wherever it runs."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        expected = PureWindowsPath(name).is_reserved()
    assert bool(system.not_everywhere(name)) == expected


@pytest.mark.parametrize(
    "name", ["a:b.yaml", "what?.yaml", "a*", "a|b", 'say "x"', "a\\b", "tab\t", "end.", "end ", "<a>"]
)
def test_what_windows_has_not_in_names(name: str) -> None:
    assert system.not_everywhere(name)


def test_check_tells_of_files_that_are_not_files_everywhere(tmp_path: Path, capsys: Any) -> None:
    from kgraph.cli.main import run

    for name in ("bench.yaml", "Bench.yaml", "aux.yaml", "fine.yaml"):
        (tmp_path / name).write_text(f"- set: Norvane {len(name)}\n", encoding="utf-8")
    assert run(["--data", str(tmp_path), "check"]) == 0
    said = [line for line in capsys.readouterr().out.splitlines() if "give it another name" in line]
    assert len(said) == 2
    assert f"{tmp_path}/aux.yaml" in said[0]
    assert "device" in said[0]
    assert f"{tmp_path}/bench.yaml" in said[1]
    assert "Bench.yaml differs from it in the case of letters alone" in said[1]


# Processes ------------------------------------------------------------------------------------

CLOSED = """
import socket, subprocess, sys
from kgraph import system
system.bound(512, 5)
open("/dev/null").close()
system.open_nothing_more()
for call in (lambda: open("/dev/null"), lambda: socket.create_connection(("127.0.0.1", 9)),
             lambda: subprocess.run(["true"])):
    try:
        call()
    except OSError as error:
        print(error.errno)
"""


def test_a_process_without_limits_of_the_system_opens_nothing_either() -> None:
    done = _python(CLOSED, stdout=subprocess.PIPE)
    assert done.communicate(timeout=30)[0].split() == [str(errno.EMFILE)] * 3
    assert done.returncode == 0


BOUND = """
import resource
from kgraph import system
resource.setrlimit(resource.RLIMIT_CPU, (7, 7))
system.bound(512, 9)
for what in (resource.RLIMIT_AS, resource.RLIMIT_CPU, resource.RLIMIT_CORE):
    print(resource.getrlimit(what)[1])
"""


def test_a_process_is_bound_and_never_given_more_than_it_had() -> None:
    done = subprocess.run([sys.executable, "-c", BOUND], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(512 << 20), "7", "0"]


@pytest.mark.parametrize("refused", [ValueError, OSError, AttributeError])
def test_a_bound_that_a_system_does_not_know_leaves_the_others(
    refused: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    bounds: dict[int, tuple[int, int]] = {}

    def setrlimit(what: int, most: tuple[int, int]) -> None:
        if what == 1:
            raise refused
        bounds[what] = most

    known = {} if refused is AttributeError else {"RLIMIT_AS": 1}
    resource = types.SimpleNamespace(
        **known,
        RLIMIT_CPU=2,
        RLIMIT_CORE=3,
        RLIM_INFINITY=-1,
        getrlimit=lambda what: (-1, -1),
        setrlimit=setrlimit,
    )
    monkeypatch.setitem(sys.modules, "resource", resource)
    system.bound(512, 9)
    assert bounds == {2: (9, 9), 3: (0, 0)}


def test_a_system_that_tells_less_has_one_process_and_a_name(monkeypatch: pytest.MonkeyPatch) -> None:
    assert 1 <= system.processes(2) <= 2
    assert system.machine() == os.uname().nodename
    monkeypatch.delattr(signal, "pthread_sigmask")
    assert system.processes(2) == 1
    monkeypatch.delattr(os, "uname")
    monkeypatch.setenv("COMPUTERNAME", "BENCH")
    assert system.machine() == "BENCH"
