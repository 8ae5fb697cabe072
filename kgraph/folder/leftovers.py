"""Whose temporary file it is that was left over."""

from kgraph.system import is_alive

__all__ = ["is_alive"]
