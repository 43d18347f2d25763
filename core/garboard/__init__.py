"""Garboard: from "last wire labelled" to "signed over to its owner", for newly rigged outboard boats."""

from garboard.hooks import hookimpl

__all__ = ["__version__", "hookimpl"]

__version__ = "0.1.0"
