"""A tuning order as sound files, one a step, with a list of them.

The list is written last: where it is, all that it names is whole. What could not be ended leaves nothing new.
"""

import csv
import io
import re
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from tonegen.errors import BadValue, CannotWrite
from tonegen.order.steps import Reference, TuningStep
from tonegen.order.walk import Listening, StepHeard
from tonegen.reading import read_whole
from tonegen.sound.files import write
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import Player
from tonegen.synthesis.timbre import Timbre, Tone
from tonegen.writing import is_there, refuse_what_exists, written_whole

LIST: Final = "steps.csv"
_SAMPLE_RATE: Final = 48_000
_SECONDS: Final = 12.0  # a count takes 10
_COLUMNS: Final = (
    "number", "file", "tune", "note", "against", "against_file", "engaged", "fret", "low_partial",
    "high_partial", "count", "beats_per_second", "listen_hz", "tune_hz", "against_hz", "accuracy_cents",
)  # fmt: skip
_OURS: Final = re.compile(r"[A-Za-z0-9-]+\.wav")
_LARGEST_LIST_BYTES: Final = 1_000_000


def write_steps(
    folder: Path, place: Listening, timbre: Timbre, level_dbfs: float, *, force: bool = False
) -> tuple[str, ...]:
    """Write each step of a plan as it should beat, each tone that is tuned to alone, and the list.

    folder : made where there is none. force : replace what is there, and remove what an earlier list named.
    Gives the names of the files, the list's last.
    Raises CannotWrite for what exists, without `force`, or cannot be written; BadValue for a level too high.
    """
    sounds: dict[str, tuple[Tone, ...]] = {}
    rows = []
    for at, step in enumerate(place.plan.steps):
        here = replace(place, at=at, heard=StepHeard.BOTH)
        name = f"{at + 1:02d}-{_plain(str(step.tune))}.wav"
        sounds[name] = here.tones(timbre)
        tone = ""
        if isinstance(step.against, Reference):
            tone = f"{_plain(step.against.name)}.wav"
            sounds[tone] = replace(here, heard=StepHeard.AGAINST).tones(timbre)
        rows.append((at + 1, name, *_row(step, place, tone)))
    made = _made(folder)
    names = (*sounds, LIST)
    new = [folder / name for name in names if not is_there(folder / name)]
    try:
        if not force:
            for name in names:
                refuse_what_exists(folder / name)
        earlier = _named_by(folder / LIST)
        for name, tones in sounds.items():
            player = Player(_SAMPLE_RATE, channels=1, level_dbfs=level_dbfs, columns=FILE_COLUMNS)
            player.set(tones)
            write(folder / name, player, _SECONDS, force=force)
        with written_whole(folder / LIST, force=force) as part:
            part.write_bytes(_table(rows).encode())
    except BaseException:
        for path in new:
            path.unlink(missing_ok=True)
        if made:
            with suppress(OSError):  # what somebody else put there meanwhile stays
                folder.rmdir()
        raise
    for name in earlier.difference(names):
        (folder / name).unlink(missing_ok=True)
    return names


def _row(step: TuningStep, place: Listening, tone: str) -> tuple[object, ...]:
    tune_hz, against_hz = (step.high_hz, step.low_hz) if step.tune_is_high else (step.low_hz, step.high_hz)
    return (
        step.tune,
        place.plan.instrument.note(step.tune),
        step.against.name if isinstance(step.against, Reference) else step.against,
        tone,
        step.state,
        f"{step.fret:g}",
        *step.partials,
        step.count,
        step.beats_per_second,
        step.coincident_hz,
        tune_hz,
        against_hz,
        step.accuracy_cents,
    )


def _table(rows: list[tuple[object, ...]]) -> str:
    """As RFC 4180 has it."""
    table = io.StringIO(newline="")
    writer = csv.writer(table)
    writer.writerow(_COLUMNS)
    writer.writerows(rows)
    return table.getvalue()


def _plain(text: str) -> str:
    """As any file system and any player takes it.

    >>> _plain("string 5 with A+V"), _plain("tone F#2 (2)")
    ('string-5-with-A-V', 'tone-Fsharp2-2')
    """
    return re.sub(r"[^A-Za-z0-9]+", "-", text.replace("#", "sharp")).strip("-")


def _made(folder: Path) -> bool:
    """Whether the folder had to be made."""
    if folder.is_dir():
        return False
    try:
        folder.mkdir()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CannotWrite(f"{folder}: cannot be made: {reason}; choose another place") from None
    return True


def _named_by(path: Path) -> set[str]:
    """The sound files that an earlier list names; none where there is no list of ours."""
    try:
        text = read_whole(path, _LARGEST_LIST_BYTES, "not a list of steps").decode()
        rows = list(csv.DictReader(io.StringIO(text)))
    except (BadValue, UnicodeDecodeError, csv.Error):
        return set()
    named = {str(row.get(column)) for row in rows for column in ("file", "against_file")}
    return {name for name in named if _OURS.fullmatch(name)}
