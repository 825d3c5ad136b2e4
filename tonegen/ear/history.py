"""Every answer, kept in SQLite the moment it is given.

One transaction an answer, on the disk before the next question: a program that is killed loses nothing. A
file that is damaged is set aside under another name, and what can be read of it goes on; one that is locked,
or of a newer program, or of another one, is left as it is. An answer that cannot be read hides no other.
A file of an older program is brought up to date in one transaction, with every answer in it.
"""

import getpass
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from pathlib import Path
from types import TracebackType
from typing import Any, Final

import msgspec

from tonegen.ear.rows import COLUMNS, NOT_NOTED, Row, TrialHearing, as_csv, is_time, row_of
from tonegen.ear.session import Answered, Method, Session, SessionPlan
from tonegen.ear.trials import HELD, chord_name
from tonegen.errors import BadValue, CannotWrite, TonegenError
from tonegen.writing import written_whole

_VERSION: Final = 2
_APPLICATION_ID: Final = 0x546F6E45  # "TonE"
_LOCKED_AFTER_SECONDS: Final = 2.0
_LONGEST_NAME: Final = 80

# Cascades make "delete mine" one statement; the trial is kept whole, the other columns are for questions.
_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS person (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS session (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
    begun TEXT NOT NULL,
    plan TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS trial (
    session INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
    number INTEGER NOT NULL,
    answered TEXT NOT NULL,
    kind TEXT NOT NULL,
    interval TEXT NOT NULL,
    low_hz REAL NOT NULL,
    level_cents REAL NOT NULL,
    seed INTEGER NOT NULL,
    answer REAL NOT NULL,
    right INTEGER,
    error REAL,
    trial TEXT NOT NULL,
    taken_seconds REAL,
    replays INTEGER,
    by_ear INTEGER,
    sound_seconds REAL,
    PRIMARY KEY (session, number)
);
"""
_TABLES: Final = {
    "person": "id name",
    "session": "id person begun plan",
    "trial": "session number answered kind interval low_hz level_cents seed answer right error trial "
    "taken_seconds replays by_ear sound_seconds",
}
# What version 1 lacked, at the end of each trial. Of answers that were given before, only the length of the
# sound can still be told.
_SINCE_2: Final = ("taken_seconds REAL", "replays INTEGER", "by_ear INTEGER", "sound_seconds REAL")
_TO_2: Final = (
    *(f"ALTER TABLE trial ADD COLUMN {column}" for column in _SINCE_2),
    """
    UPDATE trial SET sound_seconds = json_extract(trial, '$.sounds[0].seconds')
    WHERE CASE WHEN kind NOT IN ('set', 'rate', 'match') AND typeof(trial) = 'text' AND json_valid(trial)
        THEN json_type(trial, '$.sounds[0].seconds') IN ('real', 'integer')
            AND json_extract(trial, '$.sounds[0].seconds') BETWEEN 0 AND 3600
        END
    """,
    "PRAGMA user_version = 2",
)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A session that can be taken up again, and how many of its trials are answered."""

    session: int
    begun: str
    plan: SessionPlan
    answered: int


@dataclass(frozen=True, slots=True)
class LessonKept:
    """What is kept of a lesson: how many steps were answered, how many rightly at last, and when."""

    lesson: str
    answered: int
    right: int
    last: str


# A program that knows no answers to lessons passes over the table, so that it needs no version of its own.
_LESSONS: Final = """
CREATE TABLE IF NOT EXISTS lesson (
    person INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
    answered TEXT NOT NULL,
    lesson TEXT NOT NULL,
    step INTEGER NOT NULL,
    answer REAL NOT NULL,
    right INTEGER NOT NULL
)
"""
_LESSON_COLUMNS: Final = 6


FILE_NAME: Final = "ear.sqlite"


class History:
    """The history in a file; a context manager that closes it.

    notice : one line when a damaged file was set aside, otherwise "".
    Raises CannotWrite, one line, for a file that is locked, of a newer program, of another one, or where
    nothing can be written; none of them is touched.
    """

    def __init__(self, path: Path) -> None:
        """Open the file, or make it."""
        self.path = path
        self.notice = ""
        try:
            self._database = self._opened()
        except _DamagedError:
            aside = _set_aside(path)
            self._database = self._opened()
            count = self._rescue(aside)
            what = (
                f"{count} answers could be read and are in the new one" if count else "a new history begins"
            )
            self.notice = f"{path} was damaged: it is kept as {aside.name}, and {what}"

    def __enter__(self) -> "History":
        """Give the history itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    def begin(self, person: str, plan: SessionPlan) -> int:
        """Begin a session of a person, who is new when nobody has that name; give its number."""
        name = checked_name(person)
        with self._change():
            self._database.execute("INSERT OR IGNORE INTO person (name) VALUES (?)", (name,))
            found = self._database.execute(
                "INSERT INTO session (person, begun, plan) SELECT id, ?, ? FROM person WHERE name = ?",
                (_now(), msgspec.json.encode(plan).decode(), name),
            )
        return int(found.lastrowid or 0)

    def keep(self, session: int, number: int, answered: Answered, hearing: TrialHearing = NOT_NOTED) -> None:
        """Keep an answer: when this returns, it is on the disk. `number` counts from 0 in a session."""
        trial = answered.trial
        sound = trial.sounds[0]
        values = (
            session, number, _now(), trial.task.kind.value, chord_name(trial.chord), sound.low_hz,
            trial.level_cents, trial.seed, answered.answer, answered.judged.right, answered.judged.error,
            msgspec.json.encode(trial).decode(), hearing.taken_seconds, hearing.replays, hearing.by_ear,
            None if trial.task.kind in HELD else sound.seconds,
        )  # fmt: skip
        with self._change():
            self._database.execute(f"INSERT INTO trial VALUES ({', '.join('?' * len(values))})", values)

    def keep_reply(self, person: str, lesson: str, step: int, answer: float, right: bool) -> None:
        """Keep what was answered in a lesson: when this returns, it is on the disk. `step` counts from 0."""
        name = checked_name(person)
        with self._change():
            self._database.execute(_LESSONS)
            self._database.execute("INSERT OR IGNORE INTO person (name) VALUES (?)", (name,))
            self._database.execute(
                "INSERT INTO lesson SELECT id, ?, ?, ?, ?, ? FROM person WHERE name = ?",
                (_now(), lesson, step, float(answer), right, name),
            )

    def lessons(self, person: str) -> tuple[LessonKept, ...]:
        """What a person answered in lessons, by name; of each step the last answer counts."""
        with self._plainly():
            if not self._has_lessons(self._database):
                return ()
            found = self._database.execute(
                "SELECT lesson, step, right, answered FROM lesson"
                f" WHERE person IN ({self._ids(person)}) ORDER BY rowid"
            ).fetchall()
        steps: dict[str, dict[Any, bool]] = {}
        last: dict[str, str] = {}
        for lesson, step, right, answered in found:
            if isinstance(lesson, str) and is_time(answered):
                steps.setdefault(lesson, {})[step] = right == 1
                last[lesson] = answered
        return tuple(
            LessonKept(lesson, len(steps[lesson]), sum(steps[lesson].values()), last[lesson])
            for lesson in sorted(steps)
        )

    @staticmethod
    def _has_lessons(database: sqlite3.Connection) -> bool:
        return bool(database.execute("SELECT 1 FROM sqlite_master WHERE name = 'lesson'").fetchone())

    def session(self, session: int) -> Session:
        """A session as it stands, ready to go on. Raises BadValue when there is none of that number."""
        with self._plainly():
            found = self._database.execute("SELECT plan FROM session WHERE id = ?", (session,)).fetchone()
            answers = self._database.execute(
                "SELECT answer FROM trial WHERE session = ? ORDER BY number", (session,)
            ).fetchall()
        if found is None:
            raise BadValue(f"there is no session {session} in {self.path}")
        plan = _plan(found[0])
        if plan is None or not all(isinstance(answer, float) and isfinite(answer) for (answer,) in answers):
            raise BadValue(f"session {session} can no longer be read; begin another")
        return Session(plan, (answer for (answer,) in answers))

    def unfinished(self, person: str) -> tuple[Waiting, ...]:
        """The sessions of a person in which trials are left, the one that was answered last first."""
        with self._plainly():
            found = self._database.execute(
                "SELECT session.id, begun, plan, count(answered)"
                " FROM session LEFT JOIN trial ON session = session.id"
                f" WHERE person IN ({self._ids(person)}) GROUP BY session.id"
                " ORDER BY coalesce(max(answered), begun) DESC, session.id DESC",
            ).fetchall()
        sessions = (
            Waiting(number, str(begun), plan, answered)
            for number, begun, text, answered in found
            if (plan := _plan(text)) is not None and is_time(begun)
        )
        return tuple(one for one in sessions if one.answered < one.plan.trials)

    def to_go_on(self, person: str, session: int | None = None) -> int:
        """The number of the unfinished session that is asked for; None is the one that was answered last.

        Raises BadValue, saying which there are, when it is none of the person's.
        """
        numbers = [one.session for one in self.unfinished(person)]
        if not numbers:
            raise BadValue(f"{person} has no unfinished session; begin one")
        if session is None:
            return numbers[0]
        if session not in numbers:
            known = ", ".join(map(str, numbers))
            raise BadValue(f"{person} has no unfinished session {session}; there are: {known}")
        return session

    def people(self) -> tuple[str, ...]:
        """Everyone who has begun a session, by name."""
        with self._plainly():
            found = self._database.execute("SELECT name FROM person ORDER BY name").fetchall()
        return tuple(dict.fromkeys(_as_said(name) for (name,) in found))

    def checked_person(self, person: str) -> str:
        """The name of someone who has begun a session. Raises BadValue, saying who has, for another."""
        people = self.people()
        if person not in people:
            known = ", ".join(people) or "nobody"
            raise BadValue(f'there are no answers from "{person}"; there are some from: {known}')
        return person

    def rows(self, person: str) -> tuple[Row, ...]:
        """Every answer of a person that can be read, in the order in which they were given."""
        with self._plainly():
            found = self._database.execute(
                f"SELECT {', '.join(COLUMNS[1:])} FROM trial JOIN session ON session.id = trial.session"
                f" WHERE person IN ({self._ids(person)}) ORDER BY answered, session, number",
            ).fetchall()
            plans = self._database.execute(
                f"SELECT id, plan FROM session WHERE person IN ({self._ids(person)})"
            ).fetchall()
        practised = {number for number, text in plans if _is_practice(text)}
        rows = (row_of(dict(zip(COLUMNS, (person, *one), strict=True))) for one in found)
        return tuple(replace(row, practice=row.session in practised) for row in rows if row is not None)

    def unreadable(self, person: str) -> int:
        """How many answers of a person are kept and cannot be read; they stay in the file."""
        return self.count(person) - len(self.rows(person))

    def export(self, person: str, path: Path, *, force: bool = False) -> int:
        """Write every answer of a person as CSV with a heading; give how many.

        Raises CannotWrite for a file that exists, unless `force`, or a place where nothing can be written.
        """
        rows = self.rows(person)
        with written_whole(path, force=force) as beside:
            beside.write_text(as_csv(rows), encoding="utf-8", newline="")
        return len(rows)

    def count(self, person: str) -> int:
        """How many answers of a person are kept."""
        with self._plainly():
            (found,) = self._database.execute(
                "SELECT count(*) FROM trial JOIN session ON session.id = trial.session"
                f" WHERE person IN ({self._ids(person)})",
            ).fetchone()
        return int(found)

    def copies_of(self, person: str) -> tuple[Path, ...]:
        """Damaged files that were set aside, in which a person's name stands."""
        found = []
        for copy in self.path.parent.glob(f"{self.path.stem}-damaged-*"):
            with suppress(OSError):
                if person.encode() in copy.read_bytes():
                    found.append(copy)
        return tuple(sorted(found))

    def delete(self, person: str) -> int:
        """Delete a person with every session and answer, from the file itself; give how many answers.

        Damaged files in which the person's name stands are removed as a whole: what could be read of others
        is in the history. Raises BadValue when nothing is kept of anybody of that name, CannotWrite.
        """
        copies = self.copies_of(person)
        if not copies:
            self.checked_person(person)
        count = self.count(person)
        with self._change():
            self._database.execute(f"DELETE FROM person WHERE id IN ({self._ids(person)})")
        with self._plainly():
            self._database.execute("VACUUM")
        for copy in copies:
            try:
                copy.unlink()
            except OSError as error:
                raise CannotWrite(
                    f"{copy}: cannot be removed: {error.strerror}; remove it yourself"
                ) from None
        return count

    def _ids(self, person: str) -> str:
        """Whoever has that name, as SQL takes it; a name with a damaged letter is known by how it is said."""
        found = self._database.execute("SELECT id, name FROM person").fetchall()
        return ", ".join(str(int(number)) for number, name in found if _as_said(name) == person)

    def _rescue(self, aside: Path) -> int:
        """Take over what can be read of a damaged file; give how many answers."""
        with (
            suppress(sqlite3.DatabaseError, UnicodeDecodeError, OSError),
            closing(_connected(aside)) as source,
        ):
            people = {one[0]: one for one in _each(source, "person", 2) if _is_name(one[1])}
            sessions = {
                one[0]: one for one in _each(source, "session", 4) if one[1] in people and _plan(one[3])
            }
            trials = [
                one
                for one in _each(source, "trial", len(COLUMNS) - 1, since=len(_SINCE_2))
                if one[0] in sessions and row_of(dict(zip(COLUMNS, ("", *one), strict=True)))
            ]
            replies = [one for one in _each(source, "lesson", _LESSON_COLUMNS) if one[0] in people]
            with self._change():
                self._database.execute(_LESSONS)
                for table, rows in (
                    ("person", people.values()), ("session", sessions.values()), ("trial", trials),
                    ("lesson", replies),
                ):  # fmt: skip
                    for row in rows:
                        places = ", ".join("?" * len(row))
                        self._database.execute(f"INSERT OR IGNORE INTO {table} VALUES ({places})", row)
            return len(trials)
        return 0

    def _opened(self) -> sqlite3.Connection:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"{self.path.parent} cannot be made: {error.strerror}") from None
        with suppress(OSError):  # SQLite says why it cannot be made; it is for its owner's eyes
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        with self._plainly():
            database = _connected(self.path)
            try:
                self._prepare(database)
            except BaseException:
                database.close()
                raise
        return database

    def _prepare(self, database: sqlite3.Connection) -> None:
        """See whose file it is and that it is whole; make the tables of a new one, bring up an old one."""
        database.execute("BEGIN")  # so that what is read belongs together, whoever else opens the file
        version, application, schema = (
            int(database.execute(f"PRAGMA {name}").fetchone()[0])
            for name in ("user_version", "application_id", "schema_version")
        )
        there = {
            table: [str(one[1]) for one in database.execute(f"PRAGMA table_info({table})")]
            for table in _TABLES
        }
        database.execute("COMMIT")
        if schema and application != _APPLICATION_ID:
            raise CannotWrite(f"{self.path} is another program's database; move it elsewhere")
        if version > _VERSION:
            raise CannotWrite(
                f"{self.path} was written by a newer tonegen (its version is {version}, this program knows "
                f"{_VERSION}); it is left as it is: update tonegen"
            )
        if database.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
            raise _DamagedError
        for table, columns in _TABLES.items() if schema else ():
            lacking = len(_SINCE_2) if table == "trial" and version < _VERSION else 0
            if there[table] != columns.split()[: len(columns.split()) - lacking]:
                raise _DamagedError
        database.execute("PRAGMA foreign_keys = ON")
        database.execute("PRAGMA secure_delete = ON")
        database.execute("PRAGMA synchronous = FULL")
        if not schema:
            database.executescript(
                f"BEGIN IMMEDIATE; {_SCHEMA} PRAGMA application_id = {_APPLICATION_ID};"
                f"PRAGMA user_version = {_VERSION}; COMMIT;"
            )
        elif version < _VERSION:
            _bring_up(database)

    @contextmanager
    def _change(self) -> Iterator[None]:
        """All that is changed inside, or nothing."""
        with self._plainly():
            self._database.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._database.execute("ROLLBACK")
                raise
            self._database.execute("COMMIT")

    @contextmanager
    def _plainly(self) -> Iterator[None]:
        """Say in one line what SQLite could not do."""
        try:
            yield
        except sqlite3.IntegrityError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
                raise CannotWrite(f"{self.path}: this session has been deleted; begin another") from None
            raise CannotWrite(f"{self.path}: this trial was already answered, in another tonegen") from None
        except UnicodeDecodeError as error:  # of the schema, or of what SQLite says of it
            raise _DamagedError from error
        except sqlite3.DatabaseError as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
                raise _DamagedError from error
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise CannotWrite(
                    f"{self.path} is locked by another program; close that, and try again"
                ) from None
            raise CannotWrite(f"{self.path} cannot be used: {error}") from None


class _DamagedError(CannotWrite):
    """The file is no database any more."""

    def __init__(self) -> None:
        super().__init__("the history is damaged; start again, and it will be set aside")


def _plan(text: Any) -> SessionPlan | None:
    try:
        return msgspec.json.decode(text, type=SessionPlan)
    except (msgspec.MsgspecError, TonegenError, RecursionError, TypeError, ValueError):
        return None


def _is_practice(text: Any) -> bool:
    plan = _plan(text)
    return plan is not None and plan.method is Method.BLOCKS


def _is_name(name: Any) -> bool:
    return isinstance(name, str) and bool(name) and len(name) <= _LONGEST_NAME and name.isprintable()


def _as_said(name: Any) -> str:
    """A name as people are shown it, whatever became of it in the file."""
    return name.decode("utf-8", "replace") if isinstance(name, bytes) else str(name)


def _connected(path: Path) -> sqlite3.Connection:
    """A database whose texts are read whatever became of them. Raises sqlite3.DatabaseError."""
    database = sqlite3.connect(path, timeout=_LOCKED_AFTER_SECONDS, isolation_level=None)
    database.text_factory = lambda data: data.decode("utf-8", "replace")
    return database


def _bring_up(database: sqlite3.Connection) -> None:
    """Give an older file what it lacks, all of it or nothing, unless another program just did."""
    database.execute("BEGIN IMMEDIATE")
    try:
        if int(database.execute("PRAGMA user_version").fetchone()[0]) < _VERSION:
            for statement in _TO_2:
                database.execute(statement)
    except BaseException:
        database.execute("ROLLBACK")
        raise
    database.execute("COMMIT")


def _each(source: sqlite3.Connection, table: str, columns: int, since: int = 0) -> list[tuple[Any, ...]]:
    """The rows of a table in a damaged database, from both ends up to what cannot be read.

    since : how many of the columns an older file may lack at the end
    """
    found: dict[int, tuple[Any, ...]] = {}
    for order in ("", " DESC"):
        with suppress(sqlite3.DatabaseError, UnicodeDecodeError):
            for number, *row in source.execute(f"SELECT rowid, * FROM {table} ORDER BY rowid{order}"):
                if len(row) in (columns, columns - since):
                    found.setdefault(number, (*row, *(None,) * (columns - len(row))))
    return [found[number] for number in sorted(found)]


def checked_name(person: str) -> str:
    """The name of a person, on one line. Raises BadValue for none, or one that is too long."""
    name = person.strip()
    if not name or len(name) > _LONGEST_NAME or not name.isprintable():
        raise BadValue(f"a person needs a name of 1 to {_LONGEST_NAME} letters on one line")
    return name


def login_name() -> str:
    """Who is logged in. Raises BadValue on a system that does not say."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # which of them depends on the system and on Python
        raise BadValue("your login name cannot be found; give a name (--person NAME)") from None


def _set_aside(path: Path) -> Path:
    """Rename a damaged file, and its journal, to a name that nothing has."""
    stem = f"{path.stem}-damaged-{datetime.now():%Y-%m-%d-%H%M%S}"
    count = 0
    aside = path.with_name(f"{stem}{path.suffix}")
    while aside.exists():
        count += 1
        aside = path.with_name(f"{stem}-{count}{path.suffix}")
    try:
        path.rename(aside)
        for ending in ("-journal", "-wal", "-shm"):
            beside = path.with_name(path.name + ending)
            if beside.exists():
                beside.rename(aside.with_name(aside.name + ending))
    except OSError as error:
        raise CannotWrite(f"{path} is damaged and cannot be set aside: {error.strerror}") from None
    return aside


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")
