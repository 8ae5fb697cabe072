"""A knowledge graph of model families, for restorers of radio cassette recorders.

    import kgraph

    folder = kgraph.open("mine")
    for row in folder.takers("Larkfield LK-40", "volume knob"):
        print(row.set, row.position, row.certainty, row.proof.places)

What stands in `__all__` is public; every other module of the package is private, and changes without notice.
Importing it reads no folder and loads next to nothing: the rest comes when it is asked for.
"""

TYPE_CHECKING = (
    False  # What checkers of types take for true; to load `typing` would take longer than all else here.
)
if TYPE_CHECKING:
    from kgraph.api import replies, rows
    from kgraph.api.folder import Folder, open
    from kgraph.api.writing import Doubtful
    from kgraph.problems import CannotRun, Problem, Stop, Where, WrongUse

__version__ = "0.2.0"

__all__ = [
    "CannotRun",
    "Doubtful",
    "Folder",
    "Problem",
    "Stop",
    "Where",
    "WrongUse",
    "__version__",
    "open",
    "replies",
    "rows",
]

_FROM = {
    "Doubtful": "kgraph.api.writing",
    "Folder": "kgraph.api.folder",
    "open": "kgraph.api.folder",
    "replies": "kgraph.api.replies",
    "rows": "kgraph.api.rows",
    "CannotRun": "kgraph.problems",
    "Problem": "kgraph.problems",
    "Stop": "kgraph.problems",
    "Where": "kgraph.problems",
    "WrongUse": "kgraph.problems",
}
"""Public name -> where it comes from."""


def __getattr__(name: str) -> object:
    if name not in _FROM:
        raise AttributeError(f"module 'kgraph' has no attribute {name!r}")
    import importlib

    if name in ("replies", "rows"):
        return importlib.import_module(f"kgraph.api.{name}")
    return getattr(importlib.import_module(_FROM[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
