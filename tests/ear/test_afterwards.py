"""After an answer: what is heard once more is what was asked, and what the listener took it for."""

from dataclasses import replace
from math import log2

import msgspec
import pytest

from tonegen.ear.afterwards import to_hear
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, Trial, TrialKind, parse_chords
from tonegen.ear.words import describe, error_in_words


def answered(kind, answer=None, chords="5:4", seed=1, level=6.0, names=()):
    """The first trial of a session, answered rightly unless told otherwise."""
    task = Task(kind, parse_chords(chords), names=names)
    session = Session(SessionPlan(task, Method.FIXED, 4, seed, (level,)))
    return session.answer(session.next_trial().right if answer is None else answer)


def test_a_string_that_is_off_is_named_with_its_size_and_side():
    """Strings 8, 6 and 5 as 4:5:6; which of them is off is drawn."""
    made = answered(TrialKind.SIDE, 1.0, "4:5:6", seed=4, names=("string 8", "string 6", "string 5"))
    (first,) = made.trial.sounds
    was, pure = to_hear(made)
    place = {1: "string 6", 2: "string 5"}[first.moved]

    assert was.words == f"as it was: {error_in_words(first, made.trial.task.names)}"
    assert f"{place}, 6.0 cents " in was.words
    assert describe(made).startswith(
        f"No, it was {made.trial.choices[int(made.trial.right)]}. It was off: {place}, "
    )
    assert (pure.words, pure.sound) == ("pure", first.with_error(0.0))


def test_a_chord_without_names_says_the_interval_and_two_tones_need_none():
    (chord,) = answered(TrialKind.SIDE, 1.0, "4:5:6", seed=4).trial.sounds
    (third,) = answered(TrialKind.SIDE, 1.0, seed=4).trial.sounds

    assert error_in_words(replace(chord, moved=1)).startswith("major third, 6.0 cents ")
    assert error_in_words(replace(chord, moved=2)).startswith("fifth, 6.0 cents ")
    assert error_in_words(third).startswith("6.0 cents ")


@pytest.mark.parametrize(("beats", "said"), [(14.0, ", beating 14.0 times a second"), (16.0, ", rough")])
def test_what_is_too_fast_to_count_is_called_rough(beats, said):
    """Above about 15 beats a second roughness is heard (Fastl & Zwicker 2007)."""
    (sound,) = answered(TrialKind.SIDE, seed=4).trial.sounds
    assert error_in_words(sound.with_rate(-beats)).endswith(f"narrow{said}")


@pytest.mark.parametrize("seed", range(1, 5))
@pytest.mark.parametrize("kind", [TrialKind.RATE, TrialKind.MATCH])
def test_a_beat_is_compared_with_the_one_that_was_tapped_or_made(kind, seed):
    made = answered(kind, 3.0, seed=seed)
    was, mine = to_hear(made)

    assert was.sound.rate == pytest.approx(made.trial.sounds[0].rate)
    assert mine.sound.rate == pytest.approx(3.0 if was.sound.rate > 0 else -3.0)
    assert mine.words.startswith("3.00/s, as you ")
    assert min(was.sound.seconds, mine.sound.seconds) >= 4.0
    assert len(to_hear(answered(kind, 40.0, seed=seed))) == 1  # such a rate is no beat


def test_what_was_set_is_compared_with_pure():
    mine, pure = to_hear(answered(TrialKind.SET, -3.0))

    assert mine.sound.error_cents == -3.0
    assert mine.words.startswith("as you set it: 3.0 cents narrow")
    assert pure.sound.error_cents == 0.0


def test_the_interval_that_was_answered_is_heard_beside_the_one_that_it_was():
    right = answered(TrialKind.NAME, chords="5:4,3:2,4:3")
    wrong = answered(TrialKind.NAME, (right.trial.right + 1) % 3, chords="5:4,3:2,4:3")
    was, other = to_hear(wrong)

    assert len(to_hear(right)) == 1
    assert was.sound == wrong.trial.sounds[0]
    assert other.sound.chord == wrong.trial.task.chords[int(wrong.answer)]
    assert other.words.endswith(", your answer")


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_grip_of_ones_own_is_heard_with_and_without_two_cents(seed):
    """A third 10 cents wide, as it is tuned; in the one that is off it is 2 cents away from that."""
    chord = parse_chords("5:4")
    task = Task(TrialKind.OWN, chord, names=("string 6", "string 5"), tempered_cents=(0.0, 10.0))
    session = Session(SessionPlan(task, Method.FIXED, 1, seed, (2.0,)))
    made = session.answer(session.next_trial().right)
    off, own = (made.trial.sounds[int(made.trial.right)], made.trial.sounds[1 - int(made.trial.right)])
    words = [one.words for one in to_hear(made)]
    wide = [1200 * log2(sound.tones_hz[1] / sound.tones_hz[0] / 1.25) for sound in (own, off)]

    assert wide == pytest.approx([10.0, 10.0 + off.error_cents])
    assert msgspec.json.decode(msgspec.json.encode(made.trial), type=Trial) == made.trial
    assert abs(off.error_cents) == 2.0
    assert (own.low_hz, own.phases_turns, own.seconds) == (off.low_hz, off.phases_turns, off.seconds)
    assert words[1 - int(made.trial.right)].endswith(": as you tune it")
    way = "sharp" if off.error_cents > 0 else "flat"
    assert describe(made) == f"Right. Off was string 5, 2.0 cents {way}."


def test_x_of_a_blind_test_says_which_it_was():
    made = answered(TrialKind.ABX)
    a, b, x = to_hear(made)

    assert sorted(one.words.partition(": ")[2] == "pure" for one in (a, b)) == [False, True]
    assert x.words == f"X: {made.trial.choices[int(made.trial.right)]}"
    assert x.sound == (a, b)[int(made.trial.right)].sound
