"""--photo: the pictures that a user gives with an entry, by the paths under which the folder keeps them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def full_option(command: F) -> F:
    """The option by which a picture keeps all its pixels."""
    return click.option("--full", is_flag=True, help="A photo keeps all its pixels; else 2,000 on a side.")(
        command
    )


def photo_options(command: F) -> F:
    """The options by which an event names the pictures that it rests on."""
    option = click.option(
        "--photo", "photos", multiple=True, metavar="FILE", help="A picture, copied into the folder."
    )
    return option(full_option(command))
