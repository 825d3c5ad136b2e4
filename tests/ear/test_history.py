"""The history: nothing answered is lost, nothing of it is overwritten, nothing deleted stays behind."""

import csv
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from tonegen.ear.history import History
from tonegen.ear.progress import by_day
from tonegen.ear.rows import HEADING, TrialHearing
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, TrialKind, make_trial
from tonegen.errors import BadValue, CannotWrite

PLAN = SessionPlan(Task(TrialKind.PURER), Method.TWO_DOWN, 60, seed=9)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "data" / "history.sqlite"


def answer_some(history, person, count, plan=PLAN):
    number = history.begin(person, plan)
    session = history.session(number)
    for index in range(count):
        history.keep(number, index, session.answer(index % 2))
    return number


def test_what_is_answered_comes_back_and_can_be_played_again(path):
    with History(path) as history:
        number = answer_some(history, "Ada", 7)
    with History(path) as history:
        rows = history.rows("Ada")
        session = history.session(number)

    assert [row.answer for row in rows] == [0, 1, 0, 1, 0, 1, 0]
    assert [row.again() for row in rows] == [made.trial for made in session.answered]
    assert [row.right for row in rows] == [made.judged.right for made in session.answered]
    trial = rows[3].again()
    assert make_trial(trial.task, rows[3].level_cents, rows[3].seed) == trial


def test_adjustments_are_kept_with_their_error(path):
    with History(path) as history:
        number = history.begin("Ada", SessionPlan(Task(TrialKind.SET), Method.FIXED, 5, 1))
        history.keep(number, 0, history.session(number).answer(-2.25))

        assert [(row.right, row.error) for row in history.rows("Ada")] == [(None, -2.25)]


def test_answers_to_lessons_are_kept_deleted_and_taken_out_of_a_damaged_file(path):
    """Of each step the last answer counts; who only took lessons can be deleted too."""
    with History(path) as history:
        assert history.lessons("Ada") == ()
        for step, right in ((0, False), (1, True), (0, True)):
            history.keep_reply("Ada", "hearing-beats", step, 1.0, right)
        history.keep_reply("Béla", "in-the-band", 3, 0.0, False)
        (kept,) = history.lessons("Ada")
        answer_some(history, "Ada", 60)
    assert (kept.lesson, kept.answered, kept.right) == ("hearing-beats", 2, 2)
    data = bytearray(path.read_bytes())
    data[-4096:] = b"\xff" * 4096
    path.write_bytes(data)
    with History(path) as history:
        assert "was damaged" in history.notice
        assert [(one.answered, one.right) for one in history.lessons("Ada")] == [(2, 2)]
        history.delete("Béla")
        assert (history.people(), history.lessons("Béla")) == (("Ada",), ())


def test_how_a_trial_was_heard_is_kept_with_it(path, tmp_path):
    with History(path) as history:
        number = history.begin("Ada", PLAN)
        session = history.session(number)
        by_ear, by_eye = TrialHearing(4.5, 2, by_ear=True), TrialHearing(1.25, 0, by_ear=False)
        for index, hearing in enumerate((by_ear, by_eye)):
            history.keep(number, index, session.answer(0), hearing)
        held = history.begin("Ada", SessionPlan(Task(TrialKind.RATE), Method.FIXED, 5, 1))
        history.keep(held, 0, history.session(held).answer(2.0))
        history.export("Ada", tmp_path / "ada.csv")
        first, second, tapped = history.rows("Ada")

    assert (first.taken_seconds, first.replays, first.by_ear) == (4.5, 2, True)
    assert (second.taken_seconds, second.replays, second.by_ear) == (1.25, 0, False)
    assert first.sound_seconds == first.again().sounds[0].seconds
    assert (tapped.taken_seconds, tapped.sound_seconds) == (None, None)  # it sounds until it is answered
    assert [(row["replays"], row["by_ear"]) for row in written(tmp_path / "ada.csv")] == [
        ("2", "True"), ("0", "False"), ("", ""),
    ]  # fmt: skip


def made_old(path):
    """As a file of version 1 is: without how a trial was heard."""
    with sqlite3.connect(path) as database:
        for column in ("taken_seconds", "replays", "by_ear", "sound_seconds"):
            database.execute(f"ALTER TABLE trial DROP COLUMN {column}")
        database.execute("PRAGMA user_version = 1")
    database.close()


def version(path):
    with sqlite3.connect(path) as database:
        found = database.execute("PRAGMA user_version").fetchone()[0]
    database.close()
    return found


def test_a_history_of_an_older_program_is_brought_up_with_every_answer(path):
    with History(path) as history:
        number = answer_some(history, "Ada", 7)
        before = history.rows("Ada")
    made_old(path)
    change(path, "UPDATE trial SET trial = '{' WHERE number = 3")
    change(path, """UPDATE trial SET trial = '{"sounds": [{"seconds": 1e999}]}' WHERE number = 4""")

    with History(path) as history:
        assert history.notice == ""
        after = history.rows("Ada")
        history.keep(number, 7, history.session(number).answer(0), TrialHearing(1.0, 0, by_ear=True))
    assert version(path) == 2
    assert [row.answer for row in after] == [row.answer for row in before]
    lengths = [row.sound_seconds for row in before]
    lengths[3] = lengths[4] = None  # these two could not be read
    assert [row.sound_seconds for row in after] == lengths
    assert {(row.taken_seconds, row.replays, row.by_ear) for row in after} == {(None, None, None)}
    with History(path) as history:
        assert [row.by_ear for row in history.rows("Ada")] == [None] * 7 + [True]


KILLED_ON_THE_WAY = """
import os, signal, sys
from pathlib import Path
from tonegen.ear import history

def statements(count, every=history._TO_2):
    yield from every[:count]
    os.kill(os.getpid(), signal.SIGKILL)

history._TO_2 = statements(int(sys.argv[2]))
history.History(Path(sys.argv[1]))
"""


@pytest.mark.parametrize("done", [2, 6])
def test_a_program_that_is_killed_while_it_brings_a_history_up_loses_nothing(path, done):
    with History(path) as history:
        answer_some(history, "Ada", 5)
    made_old(path)
    process = subprocess.run([sys.executable, "-c", KILLED_ON_THE_WAY, str(path), str(done)])

    assert process.returncode == -signal.SIGKILL
    assert version(path) == 1
    with History(path) as history:
        assert history.notice == ""
        assert len(history.rows("Ada")) == 5
    assert version(path) == 2


def test_a_damaged_history_of_an_older_program_goes_on(path):
    with History(path) as history:
        answer_some(history, "Ada", 60)
    made_old(path)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(data)

    with History(path) as history:
        assert "could be read and are in the new one" in history.notice
        assert len(history.rows("Ada")) >= 30
    assert version(path) == 2


ANSWERS_FOR_EVER = """
import sys
from pathlib import Path
from tonegen.ear.history import History
from tonegen.ear.progress import by_day
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, TrialKind

with History(Path(sys.argv[1])) as history:
    plan = SessionPlan(Task(TrialKind.PURER), Method.TWO_DOWN, 1000, seed=9)
    number, session = history.begin("Ada", plan), Session(plan)
    while True:
        count = len(session.answered)
        history.keep(number, count, session.answer(count % 2))
        print(count, flush=True)
"""


@pytest.mark.parametrize("after", [1, 20])
def test_an_answer_that_was_taken_survives_kill_9(path, after):
    """Killed while it writes as fast as it can; every answer that it said was kept is there."""
    process = subprocess.Popen(
        [sys.executable, "-c", ANSWERS_FOR_EVER, str(path)], stdout=subprocess.PIPE, text=True
    )
    with process:
        for _ in range(after):
            said = int(process.stdout.readline())
        os.kill(process.pid, signal.SIGKILL)
        said = int(([str(said), *process.stdout.read().split()])[-1])

    with History(path) as history:
        rows = history.rows("Ada")
        session = history.session(history.to_go_on("Ada"))
        history.keep(rows[-1].session, len(rows), session.answer(0))  # and it goes on

        assert history.notice == ""
        assert [row.number for row in rows] == list(range(len(rows)))
        assert said + 1 <= len(rows) <= said + 2
        assert len(history.rows("Ada")) == len(rows) + 1


def test_people_are_kept_apart_and_deleted_alone(path):
    with History(path) as history:
        answer_some(history, "Ada", 3)
        answer_some(history, " Béla\t ".strip(), 4)
        answer_some(history, "Ada", 2)

        assert history.people() == ("Ada", "Béla")
        assert history.delete("Ada") == 5
        assert history.people() == ("Béla",)
        assert len(history.rows("Béla")) == 4
        assert history.rows("Ada") == ()


def test_a_session_that_was_deleted_meanwhile_takes_no_more_answers(path):
    with History(path) as one, History(path) as other:
        number = answer_some(one, "Ada", 1)
        other.delete("Ada")
        with pytest.raises(CannotWrite, match="has been deleted"):
            one.keep(number, 1, Session(PLAN, [0]).answer(0))
        with pytest.raises(BadValue, match='there are no answers from "Ada"; there are some from: nobody'):
            other.delete("Ada")
        assert one.count("Ada") == 0


def test_deleted_answers_are_not_left_in_the_file(path):
    name = "Somebody Unmistakable"
    with History(path) as history:
        answer_some(history, name, 5)
        before = path.read_bytes()
        history.delete(name)

    assert name.encode() in before
    assert name.encode() not in path.read_bytes()
    assert b"low_hz" in before
    assert b'"low_hz":' not in path.read_bytes()


def test_every_session_that_is_not_finished_can_be_taken_up_again(path):
    """The one that was answered last first; one that is finished, or another person's, is none of them."""
    short = SessionPlan(Task(TrialKind.PURER), Method.BAYES, 2, seed=1)
    with History(path) as history:
        assert history.unfinished("Ada") == ()
        with pytest.raises(BadValue, match="Ada has no unfinished session; begin one"):
            history.to_go_on("Ada")
        first = answer_some(history, "Ada", 3)
        time.sleep(0.002)  # times are kept to the millisecond
        second = answer_some(history, "Ada", 5)
        answer_some(history, "Ada", 2, short)
        hers = answer_some(history, "Bea", 1)
        assert [(one.session, one.answered) for one in history.unfinished("Ada")] == [(second, 5), (first, 3)]
        assert history.to_go_on("Ada") == second

        time.sleep(0.002)
        history.keep(first, 3, history.session(history.to_go_on("Ada", first)).answer(0))
        assert history.to_go_on("Ada") == first
        for other in (hers, 99):
            with pytest.raises(
                BadValue, match=f"no unfinished session {other}; there are: {first}, {second}"
            ):
                history.to_go_on("Ada", other)


def test_export_is_a_table_that_another_reader_reads(path, tmp_path):
    out = tmp_path / "ada.csv"
    with History(path) as history:
        answer_some(history, 'Ada, "the" ear', 3)
        assert history.export('Ada, "the" ear', out) == 3
        with pytest.raises(CannotWrite, match="already exists"):
            history.export('Ada, "the" ear', out)
        with pytest.raises(CannotWrite, match="cannot be written"):
            history.export('Ada, "the" ear', tmp_path / "no" / "such" / "folder.csv")
    with out.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))

    assert tuple(rows[0]) == HEADING
    assert [(row["person"], row["answer"]) for row in rows] == [
        ('Ada, "the" ear', a) for a in ("0.0", "1.0", "0.0")
    ]
    assert sorted(file.name for file in tmp_path.iterdir() if file.is_file()) == ["ada.csv"]


def damage_header(path):
    path.write_bytes(b"this is no database" + path.read_bytes()[19:])


def damage_inside(path):
    whole = path.read_bytes()
    path.write_bytes(whole[:4096] + bytes(reversed(whole[4096:])))


def cut_off(path):
    path.write_bytes(path.read_bytes()[:5000])


@pytest.mark.parametrize("damage", [damage_header, damage_inside, cut_off])
def test_a_damaged_history_is_set_aside_whole(path, damage):
    with History(path) as history:
        answer_some(history, "Ada", 20)
    damage(path)
    damaged = path.read_bytes()

    with History(path) as history:
        answer_some(history, "Ada", 1)
        assert "damaged" in history.notice
        assert "\n" not in history.notice
        assert len(history.rows("Ada")) == 1
    aside = [file for file in path.parent.iterdir() if file != path]
    assert [file.read_bytes() for file in aside] == [damaged]
    assert aside[0].name in history.notice


def test_two_damaged_histories_in_one_second_are_both_kept(path):
    path.parent.mkdir(parents=True)
    for text in (b"first damage", b"second damage"):
        path.write_bytes(text)
        History(path).__exit__(None, None, None)

    kept = {file.read_bytes() for file in path.parent.iterdir() if file != path}
    assert kept == {b"first damage", b"second damage"}


def test_what_can_be_read_of_a_damaged_history_goes_on(path):
    """One page in the middle is spoilt: the answers on all others are in the new file, as they were."""
    with History(path) as history:
        number = answer_some(history, "Ada", 60)
        whole = {row.number: row for row in history.rows("Ada")}
    data = bytearray(path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(data)

    with History(path) as history:
        rows = history.rows("Ada")
        assert f"{len(rows)} answers could be read and are in the new one" in history.notice
        assert len(rows) >= 30
        assert all(whole[row.number] == row for row in rows)
        assert {row.session for row in rows} == {number}
    with History(path) as history:
        assert history.notice == ""
        assert len(history.rows("Ada")) == len(rows)


def written(table):
    with table.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def change(path, statement, *values):
    database = sqlite3.connect(path)
    with database:
        database.execute(statement, values)
    database.close()


SPOILT = [
    ("answered", "yesterday"), ("answered", None), ("kind", "purest"), ("kind", b"\xff"), ("interval", 7.5),
    ("low_hz", "low"), ("low_hz", -3.0), ("low_hz", float("inf")), ("level_cents", b"\x00\x01"),
    ("level_cents", 1e300), ("seed", "s"), ("answer", "left"), ("answer", float("inf")), ("right", 7),
    ("error", "large"), ("trial", b"\xff\xfe"), ("taken_seconds", -1.0), ("replays", "often"), ("by_ear", 7),
    ("sound_seconds", float("inf")),
]  # fmt: skip


@pytest.mark.parametrize(("column", "value"), SPOILT)
def test_an_answer_that_cannot_be_read_hides_no_other(tonegen, own_folder, tmp_path, column, value):
    path = own_folder / "ear.sqlite"
    with History(path) as history:
        answer_some(history, "Ada", 7)
    database = sqlite3.connect(path)
    database.execute("CREATE TABLE copied AS SELECT * FROM trial")  # which refuses no empty column
    database.execute("DROP TABLE trial")
    database.execute("ALTER TABLE copied RENAME TO trial")
    database.execute(f"UPDATE trial SET {column} = ? WHERE number = 3", (value,))
    database.commit()
    database.close()

    with History(path) as history:
        rows = history.rows("Ada")
        assert {row.number for row in rows} >= {0, 1, 2, 4, 5, 6}
        assert history.unreadable("Ada") == 7 - len(rows) == history.count("Ada") - len(rows)
        assert history.unfinished("Ada")
    shown = tonegen(f"tonegen ear history --person Ada --csv {tmp_path / 'ada.csv'}")
    assert "Not finished" in shown.out
    assert ("1 answer of Ada cannot be read" in shown.err) == (len(rows) == 6)
    assert len(written(tmp_path / "ada.csv")) == len(rows)


def test_a_session_whose_plan_cannot_be_read_hides_no_other(path):
    with History(path) as history:
        spoilt, whole = answer_some(history, "Ada", 2), answer_some(history, "Ada", 3)
    change(path, "UPDATE session SET plan = ? WHERE id = ?", '{"task": 7', spoilt)

    with History(path) as history:
        assert [one.session for one in history.unfinished("Ada")] == [whole]
        assert len(history.rows("Ada")) == 5
        with pytest.raises(BadValue, match=f"session {spoilt} can no longer be read"):
            history.session(spoilt)


@pytest.mark.parametrize("number", range(30))
def test_whatever_byte_is_spoilt_the_history_opens_and_shows_what_it_can(path, number):
    chance = random.Random(number)
    with History(path) as history:
        answer_some(history, "Ada", 20)
    data = bytearray(path.read_bytes())
    for _ in range(chance.randint(1, 8)):
        data[chance.randrange(100, len(data))] = chance.randrange(256)
    path.write_bytes(data)

    with History(path) as history:
        for person in history.people():
            rows = history.rows(person)
            by_day(rows)
            history.unfinished(person)
            history.export(person, path.with_name("out.csv"), force=True)
            assert history.unreadable(person) == history.count(person) - len(rows)
    if history.notice:
        assert bytes(data) in [copy.read_bytes() for copy in path.parent.glob("*-damaged-*")]


def test_the_history_is_for_its_owner_only(path):
    path.parent.mkdir(parents=True)
    with History(path) as history:
        answer_some(history, "Ada", 1)
    assert path.stat().st_mode & 0o777 == 0o600


def test_deleting_includes_what_was_set_aside(tonegen, own_folder):
    path = own_folder / "ear.sqlite"
    with History(path) as history:
        answer_some(history, "Ada Unmistakable", 9)
        answer_some(history, "Béla", 4)
    damage = bytearray(path.read_bytes())
    damage[-4096:] = b"\xff" * 4096
    path.write_bytes(damage)
    with History(path):
        pass
    path.unlink()  # and with it the answers that were taken over
    with History(path) as history:
        answer_some(history, "Béla", 1)

    asked = tonegen("tonegen ear history --person 'Ada Unmistakable' --delete --yes").out
    assert "ear-damaged-" in asked
    assert [file.name for file in own_folder.iterdir()] == ["ear.sqlite"]
    with History(path) as history:
        assert history.people() == ("Béla",)
    assert "there are no answers from" in tonegen.refused(
        "tonegen ear history --person 'Ada Unmistakable' --delete --yes"
    )


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_a_name_is_no_formula_to_a_spreadsheet(path, tmp_path, name):
    """OWASP, "CSV Injection": a cell that begins with = + - @ is worked out, but not behind an apostrophe."""
    with History(path) as history:
        answer_some(history, name, 2)
        number = history.begin(name, SessionPlan(Task(TrialKind.SET), Method.FIXED, 5, 1))
        history.keep(number, 0, history.session(number).answer(-2.25))
        history.export(name, tmp_path / "out.csv")
    rows = written(tmp_path / "out.csv")
    assert {row["person"] for row in rows} == {f"'{name}"}
    assert rows[-1]["error"] == "-2.25"  # a number stays a number


def refusal(path):
    before = path.read_bytes()
    with pytest.raises(CannotWrite) as caught:
        History(path)
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_history_of_a_newer_program_is_left_as_it_is(path):
    with History(path) as history:
        answer_some(history, "Ada", 2)
    with sqlite3.connect(path) as database:
        database.execute("PRAGMA user_version = 3")
    database.close()

    assert "newer tonegen" in refusal(path)


def test_a_database_of_another_program_is_left_as_it_is(path):
    path.parent.mkdir(parents=True)
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE recipes (name TEXT)")
    database.close()

    assert "another program" in refusal(path)


def test_a_locked_history_says_so(path):
    with History(path) as history:
        answer_some(history, "Ada", 2)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    try:
        before = path.read_bytes()
        with pytest.raises(CannotWrite, match="locked by another program"):
            History(path)
        assert path.read_bytes() == before
    finally:
        holder.close()


def test_a_place_where_nothing_can_be_written_says_so(tmp_path):
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(CannotWrite, match="cannot be made"):
        History(tmp_path / "file" / "history.sqlite")


def test_two_programs_write_one_history(path):
    """Each answer is a short transaction, so that neither waits for long, and no answer is taken twice."""
    with History(path) as one, History(path) as other:
        answer_some(one, "Ada", 2)
        answer_some(other, "Ada", 3)
        number = answer_some(one, "Ada", 1)
        made = other.session(number).answer(0)
        other.keep(number, 1, made)
        with pytest.raises(CannotWrite, match="already answered"):
            one.keep(number, 1, made)

        assert len(one.rows("Ada")) == 7


@pytest.mark.parametrize("name", ["", "  ", "two\nlines", "x" * 81])
def test_a_person_needs_a_name(path, name):
    with History(path) as history, pytest.raises(BadValue, match="a name of 1 to 80"):
        history.begin(name, PLAN)


def test_a_session_that_there_is_not(path):
    with History(path) as history, pytest.raises(BadValue, match="no session 77"):
        history.session(77)
