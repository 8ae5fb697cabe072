"""Lists of what a folder holds: which rows there are, which of them match, and what their columns say."""

from kgraph.listing.rows import KINDS, List, ListRow, listed

__all__ = ["KINDS", "List", "ListRow", "listed"]
