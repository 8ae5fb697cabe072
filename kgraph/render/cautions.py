"""How much of its cautions and assumptions an answer prints: the first words of each, or all.

Every answer has the first words of every caution that holds of it. They stand whole where work begins: in the
book, the job sheet, `take`, `fit`, `plan --take`; and wherever they are asked for.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from kgraph.render.terminal import visible, wrapped


class Whole(NamedTuple):
    """What is printed whole."""

    cautions: bool = False
    assumed: bool = False


SHORT = Whole()
WHOLE = Whole(cautions=True, assumed=True)
_ENOUGH = 40
"""So many characters a first sentence needs to say what to do; a shorter one takes the next along."""
_SENTENCE = re.compile(r"(?<=[.!?])\s+")


def first_words(text: str) -> str:
    """The first sentence of a caution's first line, or so many as say enough."""
    said = ""
    for sentence in _SENTENCE.split(text.strip().partition("\n")[0]):
        said = f"{said} {sentence}".strip()
        if len(said) >= _ENOUGH:
            break
    return said


def block(texts: Mapping[str, str], terminal: bool, whole: bool, between: str = "\n") -> str:
    """The cautions of an answer, each on a line of its own, `between` before each that stands whole."""

    def line(text: str) -> str:
        return wrapped(visible(text)) if terminal else visible(text) + "\n"

    if whole:
        return "".join(between + line(f"Caution, {name}: {text}") for name, text in texts.items())
    firsts = {name: first_words(text) for name, text in texts.items()}
    cut = any(firsts[name] != text.strip() for name, text in texts.items())
    said = "".join(line(f"Caution, {name}: {text}") for name, text in firsts.items())
    return (between if texts else "") + said + (line("--cautions gives the cautions whole.") if cut else "")
