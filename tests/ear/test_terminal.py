"""Training, lessons and history as they are used: in a real terminal, key by key."""

import csv
import re
import sqlite3

import pytest

from tests.ear.terminal import Terminal
from tonegen.ear.history import History
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, TrialKind

LEFT, RIGHT, UP, DOWN = "\x1b[D", "\x1b[C", "\x1b[A", "\x1b[B"


@pytest.fixture
def kept(own_folder):
    def rows(person="Ada"):
        with History(own_folder / "ear.sqlite") as history:
            return history.rows(person)

    return rows


def train(*arguments, **size):
    return Terminal("ear", "train", *arguments, "--no-sound", "--person", "Ada", **size)


def test_a_session_from_its_first_question_to_what_the_answers_say(kept):
    with train("purer", "--trials", "30", columns=60) as terminal:
        for number in range(1, 31):
            terminal.wait_for(f"{number} of 30  Which of the two is purer")
            terminal.wait_for("1: the first   2: the second")
            terminal.press("1")
            terminal.wait_for(r"(Right|No, it was the second)\. The other")
            terminal.wait_for(r"1 to 2: one of them   r: all   q: stop")
            terminal.press(" ")
        assert terminal.ended() == 0
        table = terminal.screen.partition("What your answers say")[2].partition("You answered by eye")[0]
        assert (
            len(re.findall("[Yy]ou (?:do not )?hear", table)) == 2
        )  # who presses 1 for ever may hear nothing
        assert max(map(len, table.splitlines())) <= 60
        assert "answered and saved" not in terminal.screen
        assert "You answered by eye" in terminal.screen

    assert [row.answer for row in kept()] == [0] * 30
    assert {row.interval for row in kept()} == {"major third", "fifth"}


def test_a_session_is_taken_up_where_it_was_stopped(kept):
    with train("purer", "--trials", "4", "--no-feedback") as terminal:
        terminal.wait_for("1 of 4")
        terminal.press("2")
        terminal.wait_for("2 of 4")
        terminal.press("q")
        assert terminal.ended() == 0
        assert terminal.screen.endswith(
            "1 of 4 answered and saved; to continue: tonegen ear train --person Ada\n"
        )
        assert "Right" not in terminal.screen
    with train() as terminal:
        terminal.wait_for("2 of 4")
        terminal.press("1\r")
        terminal.wait_for("3 of 4")

    assert [row.number for row in kept()] == [0, 1]
    assert [row.answer for row in kept()] == [1, 0]


def test_an_earlier_session_is_taken_up_by_its_number(tonegen, kept):
    for kind, trials in (("purer", 4), ("side", 5)):
        with train(kind, "--trials", str(trials)) as terminal:
            terminal.wait_for(f"1 of {trials}")
            terminal.press("1 ")
            terminal.wait_for(f"2 of {trials}")
            terminal.press("q")
            assert terminal.ended() == 0
    shown = tonegen("tonegen ear history --person Ada")
    assert re.findall(r"^ +\d  .* answered", shown.out, re.MULTILINE) == [
        "   2  wide, pure or narrow, 1 of 5 answered",
        "   1  which is purer, 1 of 4 answered",
    ]
    numbers = [
        one["session"] for one in tonegen("tonegen ear history --person Ada --json").json["unfinished"]
    ]
    assert numbers == [2, 1]
    assert "2 answers were given by eye, without sound; they do not count here." in shown.out
    assert tonegen("tonegen ear history --person Ada --json").json["by_eye"] == 2
    with train("--session", "1") as terminal:
        terminal.wait_for("2 of 4")
    with train("--session", "7") as terminal:
        assert terminal.ended() == 2
        assert "Ada has no unfinished session 7; there are: 2, 1" in terminal.screen


def test_a_trial_is_heard_again_exactly_as_it_was(tonegen):
    """Drawn, both sounds are the same to the last block; and so is what is said of the answer."""
    with train("purer", "--trials", "2") as terminal:
        for number in (1, 2):
            terminal.wait_for(f"{number} of 2")
            terminal.press("2 ")
        assert terminal.ended() == 0
    asked = terminal.screen.partition("2 of 2  ")[2].splitlines()
    again = tonegen("tonegen ear history --person Ada --again 1:1 --no-sound").out.splitlines()

    assert again == [*asked[:3], asked[4]]
    assert "has not answered trial 2 of session 1" in tonegen.refused(
        "tonegen ear history --person Ada --again 1:2"
    )


def test_a_session_goes_on_after_kill_9(kept):
    with train("abx", "--cents", "10", "--interval", "3:2", "--seconds", "8") as terminal:
        terminal.wait_for("about 8 s: half a beat takes 0.2 cents on a fifth")
        for number in (1, 2, 3):
            terminal.wait_for(f"{number} of 16")
            terminal.press("1" if number == 3 else "1 ")
        terminal.wait_for(r"X: [AB]\n.*\n.*space: on   1 to 3")  # killed while it is heard again
        terminal.kill()
    assert len(kept()) == 3
    assert all(6.4 <= row.sound_seconds <= 9.6 for row in kept())
    with train() as terminal:
        terminal.wait_for("4 of 16  Is X the same as A, or as B")


def test_ctrl_c_loses_nothing(kept):
    with train("side", "--trials", "3") as terminal:
        terminal.wait_for("1 of 3")
        terminal.press("2 ")
        terminal.wait_for("2 of 3")
        terminal.press("\x03")
        assert terminal.ended() == 130
        assert "Traceback" not in terminal.screen
    assert len(kept()) == 1


def test_keys_that_are_no_answer_are_told_so_and_not_kept(kept):
    with train("purer", "--trials", "1") as terminal:
        terminal.wait_for("2: the second")
        for wrong in ("x", "3", "0", "²", "\x1b[15~", "é"):
            terminal.press(wrong)
            terminal.wait_for("that is not an answer; 1: the first   2: the second   r: again   q: stop")
        terminal.press("rr2")
        terminal.wait_for("space: on")
        terminal.press("x")
        terminal.wait_for("that key does nothing here; space: on   1 to 2: one of them   r: all   q: stop")
        terminal.press("1r2q")
        assert terminal.ended() == 0
    (row,) = kept()
    assert (row.answer, row.replays, row.by_ear) == (1, 2, False)
    assert 0 < row.taken_seconds < 60


def test_an_interval_is_set_pure_by_keys(kept):
    with train("set", "--trials", "2", "--interval", "5:4") as terminal:
        terminal.wait_for("1 of 2  Set it pure")
        terminal.wait_for("●")
        terminal.press(RIGHT * 3 + UP + LEFT + "\r")
        terminal.wait_for("You set the major third .* cents (wide|narrow)")
        terminal.press(" \r\r")
        assert terminal.ended() == 0
        assert "on average, spread" in terminal.screen
    first, second = kept()
    starts = [row.again().sounds[-1].error_cents for row in (first, second)]

    assert first.answer == pytest.approx(starts[0] + 3 * 0.2 + 2.0 - 0.2)
    assert second.answer == pytest.approx(starts[1])
    assert (first.error, first.right) == (first.answer, None)


def test_the_side_is_found_by_nudging(kept):
    """Drawn, the beat of what is nudged is another, and back it is as it was."""
    with train("side", "--trials", "1", "--method", "two-down", "--cents", "20") as terminal:
        terminal.wait_for("1 of 1  Is it wide, pure or narrow")
        terminal.wait_for("as it is")
        terminal.press(RIGHT * 2)
        terminal.wait_for("\rwider")
        terminal.wait_for("\rwider")
        terminal.press(LEFT + "x")
        terminal.wait_for("as it is")
        terminal.wait_for("that is not an answer; left, right: narrower, wider, and back   1: wide")
        terminal.press("2 ")
        assert terminal.ended() == 0
    (row,) = kept()
    drawn = [line for line in terminal.screen.splitlines() if set(line) <= set(" ▁▂▃▄▅▆▇█") and line.strip()]

    assert (row.answer, row.sound_seconds) == (1, None)
    assert drawn[0] == drawn[3] == drawn[4]
    assert drawn[1] == drawn[2] != drawn[0]


def test_what_to_practise_next_is_practised(tonegen, kept):
    shown = tonegen("tonegen ear practise --person Ada --show").out.splitlines()
    assert shown[:2] == ["fifth, E3 to E4: new", "major third, E3 to E4: new"]
    with Terminal("ear", "practise", "--person", "Ada", "--no-sound") as terminal:
        terminal.wait_for("Practise fifth, E3 to E4: new")
        terminal.wait_for("1 of 36  Which of the two is purer")
        terminal.press("1 ")
        terminal.wait_for("2 of 36")
        terminal.press("q")
        assert terminal.ended() == 0
        assert "down to " in terminal.screen
        assert "to continue: tonegen ear train --person Ada" in terminal.screen
    (row,) = kept()
    assert (row.practice, row.interval) == (True, "fifth")


def test_a_beat_is_tapped(kept):
    with train("rate", "--trials", "1") as terminal:
        terminal.wait_for("space: tap")
        terminal.press(" \r")
        terminal.wait_for("tap at least three times, once on each beat; 8 taps are good")
        terminal.press("    \r")
        terminal.wait_for("came all at once")
        for _ in range(3):
            terminal.press(" ")
            terminal.wait_for("•")
        terminal.press("\r")
        terminal.wait_for(r"It beat [\d.]+ times a second; your answer: [\d.]+ \([+-][\d.]+ %\)")
    (row,) = kept()
    assert row.error == pytest.approx(100 * (row.answer / row.again().right - 1))


def test_a_beat_is_matched(kept):
    with train("match", "--trials", "1") as terminal:
        terminal.wait_for("r: the first")
        terminal.press("r" + RIGHT * 5 + "\r")
        terminal.wait_for("It beat")
    (row,) = kept()
    own = row.again().sounds[-1]
    assert row.answer == pytest.approx(abs(own.with_error(own.error_cents + 1).rate))


def test_an_interval_is_named_and_a_grip_of_the_instrument_is_asked(kept):
    with train("name", "--trials", "1", "--interval", "5:4,3:2,4:3") as terminal:
        terminal.wait_for("1: major third   2: fifth   3: fourth")
        terminal.press("3 ")
        assert terminal.ended() == 0
    grip = ("--instrument", "e9-ten-string", "--changes", "A,B", "--grip", "3,4,5,6")
    with train("purer", "--trials", "1", *grip) as terminal:
        terminal.wait_for("2: the second")
        terminal.press("2")
        terminal.wait_for(r"The other 4:5:6:8 was off: string [543], [\d.]+ cents (wide|narrow), ")
        terminal.press(" ")
        assert terminal.ended() == 0
    named, gripped = kept()

    assert named.kind == "name"
    # Strings 6, 5, 4, 3 with A and B: A3 C#4 E4 A4 (common practice, no source).
    assert gripped.interval == "4:5:6:8"
    assert 219.9 < gripped.low_hz < 440.1


@pytest.mark.parametrize("size", [{"columns": 40}, {"lines": 8}], ids=["narrow", "low"])
def test_a_terminal_that_is_too_small_says_how_large_it_must_be(size):
    with train("purer", **size) as terminal:
        assert terminal.ended() == 2
        assert terminal.screen.startswith("tonegen: the terminal is ")
        assert terminal.screen.endswith("make it 60 by 12 or larger\n")
        assert terminal.screen.count("\n") == 1


def test_a_device_that_is_not_there_is_one_line():
    with Terminal("ear", "train", "purer", "--device", "no such device") as terminal:
        assert terminal.ended() == 3
        assert terminal.screen.endswith("or see the beats drawn: --no-sound\n")
        assert terminal.screen.count("\n") == 1


def test_a_lesson_from_its_first_step_to_its_last(tonegen):
    with Terminal("ear", "lesson", "in-the-band", "--no-sound", "--person", "Ada") as terminal:
        terminal.wait_for("1 of 4  Cabinet drop on a held string")
        for _ in range(3):
            terminal.wait_for("space: next")
            terminal.press(" ")
        terminal.wait_for("Which beat told you of the drop")
        assert "a second" not in terminal.screen  # neither picture nor rate before the answer
        terminal.press("r1")
        terminal.wait_for(r"Yes\. Partial 1 with partial 1")
        terminal.wait_for("at the end 1.0 beats a second, narrow")
        terminal.wait_for("space: on")
        terminal.press(" ")
        terminal.wait_for("2 of 4")
        terminal.press("b")
        terminal.wait_for("1 of 4")
        terminal.press("z")
        terminal.wait_for("that key does nothing here")
        terminal.press("q")
        assert terminal.ended() == 0
        assert "to continue: tonegen ear lesson in-the-band --step 1" in terminal.screen
    with Terminal("ear", "lesson", "in-the-band", "--no-sound", "--step", "4") as terminal:
        terminal.wait_for("4 of 4")
        terminal.press("  ")
        terminal.wait_for("Where do two cents matter most")
        terminal.press("2")
        terminal.wait_for("No: on long held tones that stand alone")
        terminal.press(" ")
        assert terminal.ended() == 0
    with Terminal("ear", "lesson", "--no-sound", "--step", "5", "--person", "Ada") as terminal:
        terminal.wait_for("space: next")
        terminal.press(" ")
        terminal.wait_for("type how many in 10 s")
        terminal.press("99\x7f9\r")
        terminal.wait_for("Yes: you counted 9, it beat 9.2 times")
        terminal.press("  ")  # on, and past the first sound of step 6
        terminal.press(" 2 ")
        terminal.wait_for("7 of 8")
        terminal.press(" ")
        terminal.wait_for("left, right: a little lower, higher")
        terminal.press(DOWN * 6 + "\r")
        terminal.wait_for("Yes: you are on it")
        terminal.press("q")
    with Terminal("ear", "lesson", "--no-sound", "--person", "Ada") as terminal:
        terminal.wait_for("space: next")
        terminal.press("    ")
        terminal.wait_for("Find partial 3 while the tone goes on")
        terminal.wait_for("h: hear the tone")
        terminal.press("h1 ")
        terminal.wait_for("2 of 8")
        terminal.press("  ")
        terminal.wait_for("space: tap on each beat")
        terminal.press(" \r")
        terminal.wait_for("tap at least three times")
        terminal.press("q")
    kept = tonegen("tonegen ear history --person Ada --json").json["lessons"]
    assert [(one["lesson"], one["answered"], one["right"]) for one in kept] == [
        ("hearing-beats", 4, 4), ("in-the-band", 1, 1),
    ]  # fmt: skip
    assert (
        "lesson hearing-beats: 4 of 4 answered right, last on "
        in tonegen("tonegen ear history --person Ada").out
    )


# --- What needs no keys is called in the test's own process.


@pytest.fixture
def answered(own_folder):
    with History(own_folder / "ear.sqlite") as history:
        for kind, method in (
            (TrialKind.PURER, Method.TWO_DOWN),
            (TrialKind.SET, Method.FIXED),
            (TrialKind.NAME, Method.FIXED),
        ):
            plan = SessionPlan(Task(kind), method, 40, seed=4)
            number, session = history.begin("Ada", plan), Session(plan)
            for index in range(40):
                history.keep(number, index, session.answer(session.next_trial().right))
        history.begin("Béla", plan)
    return own_folder / "ear.sqlite"


def test_history_for_a_person_and_for_a_script(tonegen, answered):
    shown = tonegen("tonegen ear history --person Ada")
    days = tonegen("tonegen ear history --person Ada --json").json["days"]

    assert "major third" in shown.out
    assert "threshold 0." in shown.out
    assert {day["kind"] for day in days} == {"purer", "set", "name"}
    assert sum(day["trials"] for day in days) == 120
    assert all(
        day["threshold"]["low"] <= day["threshold"]["value"]
        for day in days
        if day["trials"] >= 15 and day["kind"] == "purer"
    )


def test_progress_over_the_days_is_told(tonegen, answered):
    """Half of the answers were given some days before, and one in three of those was wrong."""
    with History(answered) as history:
        plan = SessionPlan(Task(TrialKind.PURER), Method.TWO_DOWN, 80, seed=5)
        number, session = history.begin("Ada", plan), Session(plan)
        for index in range(80):
            trial = session.next_trial()
            wrong = index % 3 == 0 and index < 40
            history.keep(number, index, session.answer(1 - trial.right if wrong else trial.right))
    with sqlite3.connect(answered) as database:
        database.execute(
            "UPDATE trial SET answered = '2026-03-01T18:00:00.000+01:00' WHERE session = ? AND number < 40",
            (number,),
        )
    database.close()
    shown = tonegen("tonegen ear history --person Ada")
    (*lines, together) = tonegen("tonegen ear history --person Ada --json").json["trends"]

    assert together["interval"] == "all together"
    assert together["words"].split(":")[0] in shown.out
    assert {one["register"] for one in lines} == {"E3 to E4"}
    assert all(0 <= one["likely"] <= 1 and one["change"]["low"] < one["change"]["high"] for one in lines)


def test_people_on_one_machine(tonegen, answered):
    assert tonegen("tonegen ear history --people").out == "Ada\nBéla\n"
    assert tonegen("tonegen ear history --people --json").json == {"people": ["Ada", "Béla"]}
    assert "there are some from: Ada, Béla" in tonegen.refused("tonegen ear history --person Clara")


def test_progress_as_a_picture_and_as_a_table(tonegen, answered, tmp_path):
    ended = tonegen(f"tonegen ear history --person Ada --png {tmp_path}/ada.png --csv {tmp_path}/ada.csv")

    assert ended.code == 0
    assert (tmp_path / "ada.png").read_bytes().startswith(b"\x89PNG")
    with (tmp_path / "ada.csv").open(newline="") as file:
        assert len(list(csv.DictReader(file))) == 120
    assert "give another name" in tonegen.refused(
        f"tonegen ear history --person Ada --png {tmp_path}/ada.png"
    )
    (tmp_path / "ada.csv").write_text("kept")
    asked = f"tonegen ear history --person Ada --csv {tmp_path}/ada.csv"
    assert "already exists; give another name, or --force" in tonegen.refused(asked)
    assert (tmp_path / "ada.csv").read_text() == "kept"
    assert tonegen(f"{asked} --force").code == 0
    assert (tmp_path / "ada.csv").read_text() != "kept"
    assert "PNG" in tonegen.refused(f"tonegen ear history --person Ada --png {tmp_path}/ada.jpg")
    assert "cannot be written" in tonegen.refused(
        f"tonegen ear history --person Ada --png {tmp_path}/no/a.png"
    )


def test_delete_asks_once_more_and_no_is_no(answered):
    for answer, said in (("n", "nothing was deleted"), ("y", "120 answers of Ada deleted")):
        with Terminal("ear", "history", "--person", "Ada", "--delete") as terminal:
            terminal.wait_for(r"Delete all 120 answers of Ada for good\? \[y/N\]: ")
            terminal.press(f"perhaps\n{answer}\n")
            assert terminal.ended() == 0
            assert said in terminal.screen
    with History(answered) as history:
        assert history.people() == ("Béla",)


def test_delete_mine(tonegen, answered):
    assert tonegen("tonegen ear history --person Ada --delete --yes").out == "120 answers of Ada deleted\n"
    assert tonegen("tonegen ear history --people").out == "Béla\n"


def test_a_damaged_history_is_told_of_and_set_aside(tonegen, answered):
    answered.write_bytes(b"no database at all")
    ended = tonegen("tonegen ear history --people")

    assert ended.code == 0
    assert ended.err.count("\n") == 1
    assert "was damaged: it is kept as ear-damaged-" in ended.err
    assert [file.read_bytes() for file in answered.parent.glob("ear-damaged-*")] == [b"no database at all"]


def test_a_history_of_a_newer_program(tonegen, answered):
    database = sqlite3.connect(answered)
    database.execute("PRAGMA user_version = 9")
    database.close()
    before = answered.read_bytes()

    assert "written by a newer tonegen" in tonegen.refused("tonegen ear history --people")
    assert answered.read_bytes() == before


REFUSED = {
    "no terminal": ("train purer", "needs a terminal"),
    "nothing to go on with": ("train --person Nobody", "needs a terminal"),
    "material without a kind": ("train --interval 3:2", "--interval is for a new session"),
    "how many without a kind": ("train --trials 5 --no-feedback", "--trials is for a new session"),
    "a session and a kind": ("train purer --session 3", "not both"),
    "a kind that there is not": ("train louder", "louder"),
    "an interval that is none": ("train purer --interval 5-4", "is not a ratio"),
    "a chord from above": ("train purer --interval 6:5:4", "from the lowest up"),
    "a tone without the partials": ("train purer --timbre pure", "no more than 1"),
    "a beat too high to hear": ("train purer --interval 45:32", "14850 Hz, too high"),
    "a grip without an instrument": ("train set --grip 3,4", "give --instrument"),
    "a temperament without an instrument": ("train set --temperament equal", "give --instrument"),
    "both": ("train set --instrument e9-ten-string --grip 3,4 --interval 3:2", "not both"),
    "a register upside down": ("train set --register A3,A2", "lower note first"),
    "half a register": ("train set --register A3", "two notes"),
    "cents that are none": ("train abx --cents few", "is not a list of cents"),
    "too many cents": ("train abx --cents 500", "0.1 to 64"),
    "cents that are chosen for him": ("train purer --cents 5", 'take the method "fixed"'),
    "a length of what goes on": ("train rate --seconds 5", "leave the length out"),
    "a length that is none": ("train purer --seconds 90", "0.5 and 30"),
    "practice of no interval": ("practise --interval fifth", "is not a ratio"),
    "practice nowhere": ("practise --register high", "two notes"),
    "cents of a rate": ("train rate --cents 5", "leave it out"),
    "no trials": ("train abx --trials 0", "0 trials"),
    "a method that does not fit": ("train set --method bayes", "no threshold"),
    "a lesson that there is not": ("lesson nowhere", "no lesson called"),
    "a step that there is not": ("lesson --step 99", "steps 1 to 8"),
    "a place that is none": ("history --again 3", "such as 3:12"),
    "a history of nobody": ("history --person Nobody", 'there are no answers from "Nobody"'),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_meant_is_one_line(tonegen, case):
    line, message = REFUSED[case]

    assert message in tonegen.refused(f"tonegen ear {line}")


def test_each_command_explains_itself(tonegen):
    for line in ("", " lesson", " train", " practise", " history"):
        ended = tonegen(f"tonegen ear{line} --help")
        assert ended.code == 0
        assert "tonegen ear" in ended.out
