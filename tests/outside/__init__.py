"""Checks against published values and other engines."""
