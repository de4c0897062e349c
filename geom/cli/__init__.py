"""The thin front door: parse, call, print; no computing."""

from geom.cli.main import main

__all__ = ["main"]
