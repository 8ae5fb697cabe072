"""The command line: what it takes, how it ends. Commands are loaded when they are asked for."""

from __future__ import annotations

import builtins
import contextlib
import errno
import gc
import importlib
import io
import os
import signal
import sys
from collections.abc import Sequence
from keyword import iskeyword

import click

from kgraph import __version__, system
from kgraph.problems import Damaged, Stop, WrongUse, shown

COMMANDS = {
    "takers": ("asking", "which other sets take this knob or belt"),
    "donors": ("asking", "which sets can give it, best first"),
    "parts": ("asking", "which part numbers go there: what to ask a seller for"),
    "sisters": ("asking", "the same design under other badges"),
    "shares": ("asking", "which assemblies a set is built on, and with whom"),
    "faults": ("faulting", "what goes wrong with a set, and what explains a sign"),
    "identify": ("identifying", "what is this set, from what was seen of it"),
    "likely": ("guessing", "which sets may be one design though nobody said so"),
    "arrive": ("faulting", "one page to read before the back comes off"),
    "belt": ("belting", "the right belt, from a measure or from the pulleys"),
    "show": ("looking", "all that is known of a thing"),
    "find": ("looking", "names near a text, and what is recorded so"),
    "list": ("listing", "sets, units, parts, assemblies or facts that match, as a table"),
    "add": ("adding", "append an entry, checked first"),
    "withdraw": ("withdrawing", "take a fact back, or all that somebody said; nothing is deleted"),
    "correct": ("correcting", "put a fact right: the old one withdrawn, the right one written"),
    "rename": ("renaming", "another name for a thing, which keeps all that it ever had"),
    "check": ("checking", "everything wrong or doubtful in the data"),
    "doubts": ("doubting", "which single thing to look at next would settle most"),
    "shelf": ("shelving", "the units, what each still gives, waits for and is owed"),
    "plan": ("planning", "what to take from which unit, provably best"),
    "hunt": ("planning", "which sets to look for, by the wants that each would meet"),
    "take": ("shelving", "record what is taken from one unit for another"),
    "inspect": ("inspecting", "record what was found at a place of a unit"),
    "fit": ("inspecting", "record that a loose part is put in a unit"),
    "owed": ("shelving", "what donors are to get back"),
    "sheet": ("shelving", "the job sheet of a unit: found, done, from where, on what evidence"),
    "draw": ("drawing", "pictures of families, of what is shared, and of proofs"),
    "book": ("booking", "the whole folder as linked static pages"),
    "query": ("querying", "a SPARQL query over the folder"),
    "export": ("exchanging", "the folder in formats that other programs read"),
    "import": ("importing", "entries from a file that `export` or others wrote"),
    "merge": ("merging", "what another fact folder says, with where it came from"),
    "upgrade": ("upgrading", "of which format the fact files are"),
    "init": ("starting", "a new fact folder"),
    "completion": ("completing", "names completed by the tab key, in bash, zsh or fish"),
}
"""Command -> (module of this room, one line of help)."""
WRITING = frozenset({"add", "withdraw", "correct", "rename", "take", "inspect", "fit", "import", "merge"})
"""The commands that write to the fact folder: each refuses one in which an entry cannot be read."""
ANY_FOLDER = frozenset({"check", "upgrade", "init", "completion"})
"""The commands to which it does not matter whether every entry can be read."""


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"kgraph.cli.{COMMANDS[cmd_name][0]}")
        # `import` is no name that a function of Python can have, and `list` has another meaning there.
        taken = iskeyword(cmd_name) or hasattr(builtins, cmd_name)
        found: click.Command = getattr(module, f"{cmd_name}_" if taken else cmd_name)
        return found if cmd_name in WRITING | ANY_FOLDER else _with_strict(found)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            from kgraph.names import did_you_mean

            near = did_you_mean(args[0], COMMANDS)
            raise WrongUse(f"there is no command {args[0]!r}; {near or 'see `kgraph --help`'}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


STRICT_HELP = "Refuse a folder in which an entry cannot be read, instead of answering without it."


def _with_strict(command: click.Command) -> click.Command:
    """The command, and those below it, with the option `--strict`, which may stand before it too."""
    if not any(param.name == "strict" for param in command.params):
        option = click.Option(
            ["--strict"], is_flag=True, callback=_strict, expose_value=False, help=STRICT_HELP
        )
        command.params.append(option)
    for below in getattr(command, "commands", {}).values():
        _with_strict(below)
    return command


def _strict(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        ctx.obj = ctx.obj._replace(strict=True)


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--data", "folders", multiple=True, type=click.Path(), metavar="DIR",
    help="A fact folder; may be given several times. Default: $KGRAPH_DATA, else ./data.",
)  # fmt: skip
@click.option("--strict", is_flag=True, help=STRICT_HELP)
@click.version_option(__version__, prog_name="kgraph")
@click.pass_context
def cli(ctx: click.Context, folders: tuple[str, ...], strict: bool) -> None:
    """Which other sets give this part, and which belt goes: facts of model families, with proof.

    Example: kgraph takers "Larkfield LK-40" "volume knob"
    """
    from kgraph.cli.settings import Settings

    ctx.obj = Settings(folders or default_folders(), strict or ctx.invoked_subcommand in WRITING)


def default_folders() -> tuple[str, ...]:
    """The fact folders where none is named: those of $KGRAPH_DATA, else ./data."""
    given = os.environ.get("KGRAPH_DATA", "")
    return tuple(p for p in given.split(os.pathsep) if p) or ("data",)


def main(args: Sequence[str] | None = None) -> None:
    """Run a command and leave with its exit status."""
    # One command builds what it needs and ends: looking for garbage over and over costs a fifth of the time.
    gc.disable()
    _hear_interrupts()
    status = run(args)
    # All is written: from here on Ctrl-C has nothing to stop but the interpreter's leaving.
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    sys.exit(status)


def _hear_interrupts() -> None:
    """From here on Ctrl-C is an exception, so that what is half done is cleared away."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def run(args: Sequence[str] | None = None) -> int:
    """Run a command; the exit status of the contract, section 3. Never a traceback for the user's faults."""
    _print_anything()
    if shell := os.environ.get("_KGRAPH_COMPLETE"):
        from kgraph.cli import completing

        return completing.answer(cli, shell)
    try:
        status = _once(args)
        sys.stdout.flush()
        return status
    except click.ClickException as error:
        error.show()
        return 2
    except Stop as stop:
        _say(stop)
        return stop.status
    except (KeyboardInterrupt, click.Abort):
        return 130
    except SystemExit:
        # Who reads our output has seen enough: click leaves so when it meets the closed pipe.
        _silence_stdout()
        return 0
    except RecursionError:
        print("the data is nested or linked too deeply", file=sys.stderr)
        return 3
    except MemoryError:
        return _no_memory()
    except RuntimeError as error:
        # Of Ctrl-C while a module makes a class Python tells in this way.
        if not isinstance(error.__cause__, KeyboardInterrupt):
            raise
        return 130
    except OSError as error:
        return _refused(error)


def _refused(error: OSError) -> int:
    """Tell what the system refused; 0 where nobody reads our output any more."""
    _silence_stdout()
    if system.is_closed_pipe(error):
        return 0
    if error.errno == errno.ENOMEM:
        return _no_memory()
    where = shown(str(error.filename or "output"), 200)
    print(f"{where}: {error.strerror or error}", file=sys.stderr)
    return 3


def _print_anything() -> None:
    """Whatever the locale's encoding lacks is printed as an escape, and never stops a command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _no_memory() -> int:
    print("there is not enough memory for this; ask for less at once, or with fewer folders", file=sys.stderr)
    return 3


def _silence_stdout() -> None:
    """Keep the interpreter from flushing to a closed or full output once more on its way out."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _once(args: Sequence[str] | None) -> int:
    """Run a command; where it could not believe an index once more, from the files."""
    given = list(args) if args is not None else None
    try:
        status = cli.main(given, prog_name="kgraph", standalone_mode=False)
    except Damaged:
        from kgraph.cli.opening import without_index

        with without_index():
            status = cli.main(given, prog_name="kgraph", standalone_mode=False)
    return status if isinstance(status, int) else 0


def _say(stop: Stop) -> None:
    from kgraph.render.terminal import visible_lines

    for problem in stop.problems:
        print(visible_lines(str(problem)), file=sys.stderr)


if __name__ == "__main__":
    main()
