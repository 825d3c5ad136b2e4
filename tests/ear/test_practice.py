"""Practice: what comes next and why, and how a session goes from easy to hard."""

from datetime import date, timedelta

import numpy as np
import pytest

from tests.ear.learners import FIRST_DAY, answered_over_days
from tonegen.ear.history import History
from tonegen.ear.practice import Why, next_up, practice_plan
from tonegen.ear.progress import by_day
from tonegen.ear.psychometric import Weibull
from tonegen.ear.session import BLOCK_TRIALS, Session
from tonegen.ear.trend import trends
from tonegen.ear.trials import chord_name
from tonegen.ear.words import practice_in_words, result_in_words
from tonegen.errors import BadValue

FIFTH = ("3:2", "E3,E4")


def practised(cents_of_day, **changed):
    """So many cents heard on one day after another from the first of March."""
    return answered_over_days(np.random.default_rng(1), cents_of_day, trials=60, day_to_day=0.0, **changed)


def first(rows, days_after):
    return next_up(rows, FIRST_DAY + timedelta(days=days_after))[0]


def test_who_begins_is_given_a_fifth_and_then_the_next_that_is_new():
    following = next_up((), FIRST_DAY)

    assert [one.why for one in following] == [Why.NEW] * 21
    assert (following[0].interval, following[0].register) == FIFTH
    assert practice_in_words(following[0]) == "fifth, E3 to E4: new"
    assert (following[1].interval, following[7].register) == ("5:4", "E2,E3")
    assert (first(practised([5.0]), 0).interval, first(practised([5.0]), 0).why) == ("5:4", Why.NEW)


def test_what_was_heard_is_due_after_one_day_then_two_then_four():
    """The gap doubles with each day on which it held."""
    for days, due_after in ((1, 1), (2, 2), (3, 4), (4, 8)):
        rows = practised([5.0] * days)
        assert first(rows, days - 1 + due_after - 1).why is Why.NEW
        due = first(rows, days - 1 + due_after)
        assert (due.why, due.interval, due.days) == (Why.DUE, "3:2", due_after)
    assert practice_in_words(due).startswith("fifth, E3 to E4: you heard ")
    assert practice_in_words(due).endswith(" cents 8 days ago; time to hear it again")


def test_what_was_forgotten_comes_first_and_is_spaced_from_the_beginning():
    forgotten = practised([4.0, 4.0, 4.0, 16.0])
    due = practised([5.0], interval="major third")

    both = next_up([*forgotten, *due], FIRST_DAY + timedelta(days=4))
    assert [(one.why, one.interval) for one in both[:2]] == [(Why.FORGOTTEN, "3:2"), (Why.DUE, "5:4")]
    assert "yesterday, less than the time before" in practice_in_words(both[0])
    assert first(practised([4.0, 4.0, 16.0, 16.0]), 4).why is Why.NEW  # held twice: due after two days
    assert first(practised([4.0, 4.0, 16.0, 16.0]), 5).why is Why.DUE


def test_what_is_heard_worst_comes_after_what_is_new():
    rows = practised([3.0]) + practised([12.0], interval="major third")
    following = next_up(rows, FIRST_DAY)

    assert [(one.why, one.interval) for one in following[:3]] == [
        (Why.NEW, "4:3"), (Why.DULL, "5:4"), (Why.DULL, "3:2"),
    ]  # fmt: skip
    assert "it can become finer" in practice_in_words(following[1])


def test_what_was_answered_by_eye_is_still_to_be_heard():
    assert first(practised([5.0], by_ear=False), 3).why is Why.NEW


def answered(plan, rng, listener):
    session = Session(plan)
    while not session.finished:
        trial = session.next_trial()
        right = rng.random() < listener.right(trial.level_cents)
        session.answer(trial.right if right else 1 - trial.right)
    return session


def test_practice_goes_from_easy_to_hard_one_interval_at_a_time():
    """Eight minutes, whole blocks; never rough, which is 15 beats a second on the highest tone, E4, 329.6 Hz.

    Of a fifth 1200 log2(1 + 15 / (3 x 329.6)) = 26.06 cents, of a major third 15.69.
    """
    plan = practice_plan("3:2,5:4", "E3,E4", (), seed=3)
    session = answered(plan, np.random.default_rng(2), Weibull(3.0, 2.0))
    asked = [(chord_name(one.trial.chord), one.trial.level_cents) for one in session.answered]
    blocks = [asked[at : at + BLOCK_TRIALS] for at in range(0, len(asked), BLOCK_TRIALS)]

    assert len(asked) == 36
    assert [{name for name, _ in block} for block in blocks] == [{"fifth"}, {"major third"}, {"fifth"}]
    assert [block[0][1] for block in blocks[:2]] == pytest.approx([26.06, 15.69], abs=0.02)
    assert max(abs(sound.rate) for one in session.answered for sound in one.trial.sounds) <= 15.1
    assert all(block[-1][1] < block[0][1] / 2 for block in blocks[:2])
    assert blocks[2][0][1] <= 2 * blocks[0][-1][1] * 2**0.5  # it begins again near where it ended
    fifth, _ = session.results()
    assert (fifth.threshold, fifth.reached_cents) == (None, pytest.approx(fifth.reached_cents))
    said, range_said = result_in_words(fifth, plan.task.kind)
    assert said.startswith(f"down to {fifth.reached_cents:.1f} cents, ")
    assert range_said == "practice: no measurement"


def test_practice_begins_four_times_above_what_was_heard_last():
    (easy,) = practice_plan("3:2", "E3,E4", practised([9.0, 2.0]), seed=1).levels_cents

    assert 4 < easy < 14
    with pytest.raises(BadValue, match="is not a ratio"):
        practice_plan("fifth", "E3,E4", (), seed=1)
    with pytest.raises(BadValue, match="two notes"):
        practice_plan("3:2", "E3", (), seed=1)


def test_what_can_come_after_an_answer_is_foreseen_in_practice_too():
    session = Session(practice_plan("3:2,5:4", "E3,E4", (), seed=3))
    for _ in range(2 * BLOCK_TRIALS):
        could = session.could_come()
        session.answer(1.0)
        assert session.next_trial() in could


def test_practice_is_kept_and_is_no_measurement(tmp_path):
    with History(tmp_path / "ear.sqlite") as history:
        plan = practice_plan("3:2", "E3,E4", (), seed=3)
        number, session = history.begin("Ada", plan), Session(plan)
        for index in range(20):
            history.keep(number, index, session.answer(index % 2))
        rows = history.rows("Ada")

    assert all(row.practice for row in rows)
    assert by_day(rows) == trends(rows) == ()
    today = date.fromisoformat(rows[0].answered[:10])
    assert next_up(rows, today)[0].interval == "5:4"  # but it was practised
