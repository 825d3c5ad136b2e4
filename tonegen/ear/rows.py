"""One answer as it is kept, and answers as a table for spreadsheets."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Any, Final

import msgspec

from tonegen.ear.trials import Trial, TrialKind
from tonegen.errors import BadValue

COLUMNS: Final = (
    "person", "session", "number", "answered", "kind", "interval", "low_hz", "level_cents", "seed", "answer",
    "right", "error", "trial",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One answer as it is kept; times are local, with their offset, as ISO 8601 writes them.

    right : of a choice, None for a number. error : in cents or percent, None for a choice.
    """

    person: str
    session: int
    number: int
    answered: str
    kind: str
    interval: str
    low_hz: float
    level_cents: float
    seed: int
    answer: float
    right: bool | None
    error: float | None
    trial: str

    def again(self) -> Trial:
        """The trial, as it was asked. Raises BadValue where what is kept of it cannot be read."""
        try:
            return msgspec.json.decode(self.trial, type=Trial)
        except (msgspec.MsgspecError, BadValue, RecursionError):
            raise BadValue(
                f"trial {self.number} of session {self.session} can no longer be read; replay another"
            ) from None


def as_csv(rows: Iterable[Row]) -> str:
    """Answers as a table with a heading, as RFC 4180 writes one; a spreadsheet works out nothing in it."""
    table = io.StringIO(newline="")
    writer = csv.writer(table)
    writer.writerow(COLUMNS)
    writer.writerows([_no_formula(getattr(row, column)) for column in COLUMNS] for row in rows)
    return table.getvalue()


def _no_formula(cell: Any) -> Any:
    """The cell, a text that a spreadsheet would work out behind an apostrophe.

    Source: OWASP, "CSV Injection": cells that begin with = + - @, a tab or a carriage return.
    """
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def row_of(fields: dict[str, Any]) -> Row | None:
    """An answer from its columns; None where one of them cannot be read."""
    right = fields.pop("right")
    if right not in (None, 0, 1):
        return None
    try:
        row = msgspec.convert({**fields, "right": None if right is None else bool(right)}, Row)
        TrialKind(row.kind)
    except (msgspec.ValidationError, ValueError):
        return None
    numbers = (row.low_hz, row.level_cents, row.answer, row.error or 0.0)
    meant = all(map(isfinite, numbers)) and 1.0 <= row.low_hz <= 100_000.0 and abs(row.level_cents) <= 1200.0
    return row if meant and is_time(row.answered) else None


def is_time(text: Any) -> bool:
    """Whether a text is a time with its offset, as ISO 8601 writes it."""
    try:
        return datetime.fromisoformat(text).utcoffset() is not None
    except (ValueError, TypeError):
        return False
