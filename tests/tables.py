"""Published values as rows, and the pytest parameters made of them."""

import csv
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

PUBLISHED = Path(__file__).parent / "published"


def rows(name: str) -> list[SimpleNamespace]:
    """The rows of a table of published values; columns that no name can have keep only their letters."""
    with (PUBLISHED / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return [SimpleNamespace(**row) for row in csv.DictReader(file)]


def published(name: str, label: Callable, keep: Callable = lambda row: True):
    """pytest parameters of a table; `label` says of a row what a player would call it."""
    return [pytest.param(row, id=label(row)) for row in rows(name) if keep(row)]
