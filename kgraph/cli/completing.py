"""Completion in the shell: names of sets, positions, parts and units, from the fact folder.

A shell's script calls `kgraph` with `_KGRAPH_COMPLETE` set to the name of the shell. The answer is one line
that says `names` or `files`, then a name on each line. zsh and fish quote the names themselves; for bash
they come quoted as the word under the cursor is. Whatever goes wrong, nothing is said: a user who presses
the tab key wants no error in the middle of a line.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading

import click
from click.shell_completion import CompletionItem, ShellComplete

VARIABLE = "_KGRAPH_COMPLETE"
MOST_SECONDS = 3.0
"""A folder that takes longer to read gives no names: a tab key must not hang."""

_BASH = """\
_kgraph_completion() {
    local LC_ALL=C found line
    COMPREPLY=()
    found=$(_KGRAPH_COMPLETE=bash _KGRAPH_LINE="${COMP_LINE:0:COMP_POINT}" \\
        _KGRAPH_WORD="${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[0]/#\\~/$HOME}" 2>/dev/null)
    if [ "${found%%$'\\n'*}" = files ]; then compopt -o default; return; fi
    while IFS= read -r line; do COMPREPLY+=("$line"); done < <(tail -n +2 <<< "$found")
}
complete -o nosort -F _kgraph_completion kgraph 2>/dev/null || complete -F _kgraph_completion kgraph
"""

_ZSH = """\
#compdef kgraph
_kgraph_completion() {
    local -a found
    found=("${(@f)$(_KGRAPH_COMPLETE=zsh _KGRAPH_WORDS="${(F)${(@Q)words[1,CURRENT-1]}}" \\
        _KGRAPH_WORD="${(Q)PREFIX}" ${(Q)~words[1]} 2>/dev/null)}")
    if [[ $found[1] == files ]]; then _files; else compadd -U -V names -- "${(@)found[2,-1]}"; fi
}
compdef _kgraph_completion kgraph
"""

_FISH = """\
function __kgraph_completion
    set -l words (commandline -opc)
    set -lx _KGRAPH_COMPLETE fish
    set -lx _KGRAPH_WORDS (string join \\n -- $words | string collect)
    set -lx _KGRAPH_WORD (commandline -ct | string collect)
    set -l found ($words[1] 2>/dev/null)
    if test "$found[1]" = files
        __fish_complete_path (commandline -ct)
    else if test (count $found) -gt 1
        printf '%s\\n' $found[2..-1]
    end
end
complete --command kgraph --no-files --keep-order --arguments '(__kgraph_completion)'
"""

SCRIPTS = {"bash": _BASH, "zsh": _ZSH, "fish": _FISH}


@click.command(short_help="names completed by the tab key, in bash, zsh or fish")
@click.argument("shell", type=click.Choice(list(SCRIPTS)), metavar="|".join(SCRIPTS))
def completion(shell: str) -> int:
    """The lines that a shell reads to complete commands, options and the names in your folder.

    bash: put  eval "$(kgraph completion bash)"  into ~/.bashrc;
    zsh: the same with zsh into ~/.zshrc, after compinit;
    fish: kgraph completion fish > ~/.config/fish/completions/kgraph.fish

    Example: kgraph completion bash
    """
    sys.stdout.write(SCRIPTS[shell])
    return 0


# What a word can be ---------------------------------------------------------------------------


class NameOf(click.ParamType):  # type: ignore[type-arg]
    """A name of the folder, of one of these kinds of thing; where more words follow, of a position."""

    name = "name"

    def __init__(self, first: tuple[str, ...], then: tuple[str, ...] = ()) -> None:
        self.first, self.then = first, then

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        """The names that begin so."""
        given = ctx.params.get(param.name or "") if param.nargs == -1 else None
        kinds = self.then if given and self.then else self.first
        return [CompletionItem(name) for name in _beginning(_names(ctx, kinds), incomplete)]


class KeyOfList(click.ParamType):  # type: ignore[type-arg]
    """The key of a condition of `list`, with the sign that its value stands behind."""

    name = "condition"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        """The usual keys that begin so."""
        from kgraph import usual_keys
        from kgraph.listing import KINDS
        from kgraph.listing.rows import FACT_KEYS

        kind = KINDS.get(ctx.params.get("what") or "", "")
        keys = FACT_KEYS if kind == "fact" else [k.name for k in usual_keys.of_kind(kind)] if kind else ()
        return [CompletionItem(f"{key}=") for key in keys if key.startswith(incomplete)]


_SET, _PART, _UNIT, _PLACE = ("set",), ("part",), ("unit",), ("position",)
_ANYTHING = ("set", "assembly", "part", "unit", "position", "kind", "source")

_TYPES: dict[str, click.ParamType] = {  # type: ignore[type-arg]
    "SET": NameOf(_SET),
    "SET POSITION": NameOf(_SET, _PLACE),
    "SET [POSITION]": NameOf(_SET, _PLACE),
    "[SET [POSITION]]": NameOf(_SET, _PLACE),
    "PART": NameOf(_PART),
    "BELT": NameOf(_PART),
    "SET|UNIT": NameOf((*_SET, *_UNIT)),
    "SET|UNIT POSITION": NameOf((*_SET, *_UNIT), _PLACE),
    "SET|UNIT [POSITION]": NameOf((*_SET, *_UNIT), _PLACE),
    "[SET|UNIT [POSITION]]": NameOf((*_SET, *_UNIT), _PLACE),
    "[SET]": NameOf(_SET),
    "[SET...]": NameOf(_SET),
    "[UNIT | SET...]": NameOf((*_UNIT, *_SET)),
    "PART | SET|UNIT POSITION": NameOf((*_SET, *_UNIT, *_PART), _PLACE),
    "PART | SET POSITION": NameOf((*_SET, *_PART), _PLACE),
    "PART | SET [POSITION]": NameOf((*_SET, *_PART), _PLACE),
    "POSITION": NameOf(_PLACE),
    "[POSITION]...": NameOf(_PLACE),
    "UNIT": NameOf(_UNIT),
    "UNIT...": NameOf(_UNIT),
    "[UNIT]...": NameOf(_UNIT),
    "UNIT|SET...": NameOf((*_UNIT, *_SET)),
    "[SET | UNIT]": NameOf((*_SET, *_UNIT)),
    "[SET|UNIT]": NameOf((*_SET, *_UNIT)),
    "NAME": NameOf(_ANYTHING),
    "KEY=VALUE": KeyOfList(),
}
"""How the help names a word -> what it can be."""


def _prepare(command: click.Command) -> click.Command:
    """Give each word of a command, and of the commands below it, the type that its help names."""
    for param in command.params:
        shown = param.metavar or (param.name or "").upper()
        if shown in _TYPES and not isinstance(param.type, click.Path):
            param.type = _TYPES[shown]
    for below in getattr(command, "commands", {}).values():
        _prepare(below)
    return command


def _names(ctx: click.Context, kinds: tuple[str, ...]) -> list[str]:
    from kgraph.cli.main import default_folders
    from kgraph.cli.opening import opened
    from kgraph.cli.settings import Settings
    from kgraph.render.terminal import visible

    folders: tuple[str, ...] = ctx.find_root().params.get("folders") or default_folders()
    # What stands on the line the shell has not read yet.
    folders = tuple(os.path.expandvars(os.path.expanduser(f)) for f in folders)
    with contextlib.closing(opened(Settings(folders))) as loaded:
        known = [loaded.data.known(kind) for kind in kinds]
    found = [name for of_kind in known for name in sorted(of_kind.values())]
    # What cannot be typed in one line cannot be completed in one.
    return [name for name in dict.fromkeys(found) if visible(name) == name]


def _beginning(names: list[str], typed: str) -> list[str]:
    """The names that begin with what was typed; where none does, the only one that does otherwise spelt."""
    from kgraph.names import fold

    if exact := [n for n in names if n.startswith(typed)]:
        return exact
    loose = [n for n in names if n.casefold().startswith(typed.casefold())]
    loose = loose or [n for n in names if fold(typed) and fold(n).startswith(fold(typed))]
    # A shell puts what several names have in common in place of the word; it must not lose letters.
    return loose if len(loose) == 1 else []


# What a shell asks ----------------------------------------------------------------------------


def answer(cli: click.Group, shell: str) -> int:
    """Print what the word under the cursor can be; silent whatever happens."""
    with open(os.devnull, "w", encoding="utf-8") as nowhere, contextlib.redirect_stderr(nowhere):
        lines = _within(MOST_SECONDS, cli, shell)
    text = "".join(line + "\n" for line in lines)
    sys.stdout.buffer.write(text.encode("utf-8", "surrogateescape"))
    sys.stdout.flush()
    return 0


def _within(seconds: float, cli: click.Group, shell: str) -> list[str]:
    """What there is to say; nothing where it takes longer, or anything goes wrong."""
    found: list[list[str]] = []

    def work() -> None:
        with contextlib.suppress(Exception):
            found.append(_answer(cli, shell))

    # No system has signals that all others have; a thread that takes too long ends with the process.
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(seconds)
    return found[0] if found else []


def _answer(cli: click.Group, shell: str) -> list[str]:
    quote, tail = "", ""
    if shell == "bash":
        words, typed, quote, raw = _bash_words(os.environ.get("_KGRAPH_LINE", ""))
        tail = _replaced(raw, os.environ.get("_KGRAPH_WORD", ""), quote)
    else:
        words = os.environ.get("_KGRAPH_WORDS", "").split("\n")
        typed = os.environ.get("_KGRAPH_WORD", "")
        if shell == "fish":
            # fish gives the word as it stands in the line, perhaps with a quote that is still open.
            typed = _bash_words(typed)[1]
    asked = ShellComplete(_Prepared(cli), {}, "kgraph", VARIABLE)
    found = asked.get_completions(words[1:], typed)
    if any(item.type in ("file", "dir") for item in found):
        return ["files"]
    names = [str(item.value) for item in found]
    return ["names", *(_for_bash(n, quote, tail) if shell == "bash" else n for n in names)]


class _Prepared(click.Group):
    """The command line as it is, its words typed by what the help calls them."""

    def __init__(self, cli: click.Group) -> None:
        super().__init__(cli.name, params=cli.params)
        self.cli = cli

    def list_commands(self, ctx: click.Context) -> list[str]:
        return self.cli.list_commands(ctx)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        found = self.cli.get_command(ctx, cmd_name)
        return None if found is None else _prepare(found)


# How bash quotes ------------------------------------------------------------------------------


def _bash_words(line: str) -> tuple[list[str], str, str, str]:
    """The words before the cursor, the one at it, the quote it stands in, and how it was typed."""
    words: list[str] = []
    word, quote, begun, start = "", "", False, 0
    at = 0
    while at < len(line):
        char = line[at]
        if not quote and char.isspace():
            words += [word] if begun else []
            word, begun, start = "", False, at + 1
        elif char == "\\" and quote != "'" and at + 1 < len(line):
            follows = line[at + 1]
            word += follows if not quote or follows in '"\\$`' else "\\" + follows
            begun, at = True, at + 1
        elif char == quote:
            quote = ""
        elif not quote and char in "\"'":
            quote, begun = char, True
        else:
            word, begun = word + char, True
        at += 1
    return words, word, quote, line[start:]


def _replaced(raw: str, word: str, quote: str) -> str:
    """What of the word stays before that which bash replaces: it divides words at `:` and `=` too."""
    if quote:
        return ""
    return raw[: len(raw) - len(word)] if word and raw.endswith(word) else raw if word in (":", "=") else ""


_SPECIAL = frozenset(" \t\"'\\$`!&;|<>()[]{}*?#~^")


def _for_bash(name: str, quote: str, before: str) -> str:
    """A name as it is to stand in the line, less what stands there already."""
    if quote == '"':
        return "".join("\\" + c if c in '"\\$`' else c for c in name)
    if quote == "'":
        return name.replace("'", "'\\''")
    typed = "".join("\\" + c if c in _SPECIAL else c for c in name)
    return typed.removeprefix(before)
