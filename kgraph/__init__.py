"""A knowledge graph of model families, for restorers of radio cassette recorders."""

__version__ = "0.1.0"
