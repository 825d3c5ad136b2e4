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
    "right", "error", "trial", "taken_seconds", "replays", "by_ear", "sound_seconds",
)  # fmt: skip


HEADING: Final = (*COLUMNS, "practice")


@dataclass(frozen=True, slots=True)
class TrialHearing:
    """How a trial was heard before it was answered; what nobody noted is None.

    taken_seconds : from when it could be heard first until the answer. replays : how often again.
    by_ear : whether it sounded; not where its beats were only drawn, or all was muted.
    """

    taken_seconds: float | None = None
    replays: int | None = None
    by_ear: bool | None = None


NOT_NOTED: Final = TrialHearing()


@dataclass(frozen=True, slots=True)
class Row:
    """One answer as it is kept; times are local, with their offset, as ISO 8601 writes them.

    right : of a choice, None for a number. error : in cents or percent, None for a choice.
    taken_seconds, replays, by_ear : see `TrialHearing`. sound_seconds : length of the sound, None where it
    goes on until the answer. All four are None for what was answered before they were noted.
    practice : whether it was practice, and no measurement.
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
    taken_seconds: float | None = None
    replays: int | None = None
    by_ear: bool | None = None
    sound_seconds: float | None = None
    practice: bool = False

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
    writer.writerow(HEADING)
    writer.writerows([_no_formula(getattr(row, column)) for column in HEADING] for row in rows)
    return table.getvalue()


def _no_formula(cell: Any) -> Any:
    """The cell, a text that a spreadsheet would work out behind an apostrophe.

    Source: OWASP, "CSV Injection": cells that begin with = + - @, a tab or a carriage return.
    """
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def row_of(fields: dict[str, Any]) -> Row | None:
    """An answer from its columns; None where one of them cannot be read."""
    truths = {name: fields[name] for name in ("right", "by_ear")}
    if any(truth not in (None, 0, 1) for truth in truths.values()):
        return None
    try:
        said = {name: None if truth is None else bool(truth) for name, truth in truths.items()}
        row = msgspec.convert({**fields, **said}, Row)
        TrialKind(row.kind)
    except (msgspec.ValidationError, ValueError):
        return None
    counted = (row.taken_seconds or 0.0, row.replays or 0, row.sound_seconds or 0.0)
    numbers = (row.low_hz, row.level_cents, row.answer, row.error or 0.0, *counted)
    meant = all(map(isfinite, numbers)) and 1.0 <= row.low_hz <= 100_000.0 and abs(row.level_cents) <= 1200.0
    meant = meant and min(counted) >= 0
    return row if meant and is_time(row.answered) else None


def is_time(text: Any) -> bool:
    """Whether a text is a time with its offset, as ISO 8601 writes it."""
    try:
        return datetime.fromisoformat(text).utcoffset() is not None
    except (ValueError, TypeError):
        return False
