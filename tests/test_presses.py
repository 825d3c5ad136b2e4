"""Which presses of a foot count: one is never taken twice, and no song is skipped that nobody meant."""

import random

import pytest

from tonegen.setlist.presses import Presses, PressOutcome
from tonegen.setlist.records import Action, SetList, SetSong

NEXT, PREVIOUS, NUMBER, HOLD = Action.NEXT, Action.PREVIOUS, Action.NUMBER, Action.HOLD


def evening(songs=12, **rules):
    return SetList("night", "Invented", tuple(SetSong(f"Song {n}", n) for n in range(1, songs + 1)), **rules)


@pytest.fixture
def feet():
    """An evening of twelve songs at its third, whose board was plugged in long ago."""
    feet = Presses(evening(), place=2)
    feet.port_came("board", -60.0)
    return feet


def number(feet, one, now, port="board"):
    return feet.press("program", NUMBER, now, one, port)


def test_next_and_previous(feet):
    assert feet.press("right", NEXT, 0.0).goes_to == 3
    assert feet.press("left", PREVIOUS, 0.1).goes_to == 2
    assert (feet.place, feet.next_place) == (2, 3)


def test_a_switch_that_bounces_is_one_press(feet):
    """However long it goes on: each bounce begins the 0.8 s anew."""
    taken = [feet.press("right", NEXT, now).goes_to for now in (0.0, 0.01, 0.3, 0.79, 1.5, 2.2)]
    assert taken == [3, None, None, None, None, None]
    assert feet.press("right", NEXT, 3.1).goes_to == 4


def test_how_fast_presses_may_follow_is_the_player_s_to_say():
    feet = Presses(evening(again_seconds=0.2))
    assert [feet.press("right", NEXT, now).goes_to for now in (0.0, 0.1, 0.31)] == [1, None, 2]


def test_the_set_ends_where_it_ends(feet):
    feet = Presses(evening(2))
    assert "first song" in feet.press("left", PREVIOUS, 0.0).why
    assert feet.press("right", NEXT, 1.0).goes_to == 1
    assert feet.next_place is None
    assert feet.press("right", NEXT, 2.0).why == "That was the last song."
    assert feet.place == 1


def test_before_the_first_song_next_leads_to_it():
    feet = Presses(evening(), place=-1)
    assert feet.press("left", PREVIOUS, 0.0) == PressOutcome(why="There is none before the first song.")
    assert (feet.place, feet.next_place) == (-1, 0)
    assert feet.press("right", NEXT, 0.0).goes_to == 0
    assert feet.press("right", NEXT, 0.5).goes_to is None  # the same press


def test_a_number_that_a_board_sends_when_it_is_switched_on_is_refused(feet):
    feet.port_came("board", 10.0)
    early = number(feet, 4, 10.9)
    assert early.goes_to is None
    assert "not taken" in early.why
    assert feet.press("right", NEXT, 10.95, port="board").goes_to == 3, "a foot on a switch is no power-up"
    assert number(feet, 3, 11.0).goes_to == 2


def test_a_jump_wants_the_same_number_again(feet):
    asked = number(feet, 9, 0.0)
    assert asked.goes_to is None
    assert "Song 9, is not the next song" in asked.why
    assert number(feet, 9, 0.05).goes_to is None, "the board said it twice at once"
    assert number(feet, 9, 1.0).goes_to == 8
    assert (feet.place, feet.next_place) == (8, 9)


@pytest.mark.parametrize("now", [2.01, 60.0])
def test_a_number_that_comes_again_too_late_is_asked_for_anew(feet, now):
    number(feet, 9, 0.0)
    assert number(feet, 9, now).goes_to is None
    assert number(feet, 9, now + 1).goes_to == 8


def test_another_number_or_a_song_between_does_not_confirm(feet):
    number(feet, 9, 0.0)
    assert number(feet, 8, 0.9).goes_to is None
    assert number(feet, 9, 1.8).goes_to is None
    feet.press("right", NEXT, 2.0)
    assert number(feet, 9, 2.7).goes_to is None


def test_neighbours_need_no_second_press_and_the_song_itself_none(feet):
    assert number(feet, 4, 0.0).goes_to == 3
    assert number(feet, 3, 1.0).goes_to == 2
    assert number(feet, 3, 2.0).goes_to is None


def test_a_file_may_allow_jumps():
    assert number(Presses(evening(jumps_at_once=True)), 9, 0.0).goes_to == 8


def test_a_number_that_no_song_has(feet):
    assert "there is no song 40" in number(feet, 40, 0.0).why
    assert "there is no song 40" in feet.load(40, 5.0).why


def test_nothing_goes_on_while_it_is_held(feet):
    assert feet.press("toe", HOLD, 0.0).why == "Held."
    for outcome in (feet.press("right", NEXT, 1.0), feet.press("left", PREVIOUS, 1.0), number(feet, 4, 1.0)):
        assert outcome.goes_to is None
        assert "Held" in outcome.why
    feet.press("toe", HOLD, 0.5)
    assert feet.held, "it bounced"
    feet.press("toe", HOLD, 2.0)
    assert feet.press("right", NEXT, 2.1).goes_to == 3


def test_a_song_that_is_loaded_is_what_next_leads_to(feet):
    feet.load(9, 0.0)
    assert (feet.place, feet.next_place) == (2, 8)
    assert feet.press("right", NEXT, 0.1).goes_to == 8
    assert feet.next_place == 9
    feet.port_came("board", 10.0)
    assert "not taken" in feet.load(1, 10.5, "board").why


def test_feet_at_random_never_skip_a_song():
    """Whatever is pressed: no step within 0.8 s of the same press, none over a song unasked."""
    draw = random.Random(1)
    feet, now, last, asked = Presses(evening(40)), 0.0, {}, {}
    steps = 0
    for _ in range(20_000):
        now += draw.choice((0.01, 0.1, 0.5, 0.9, 1.5, 3.0))
        action = draw.choice((NEXT, NEXT, PREVIOUS, NUMBER, NUMBER))
        wanted = draw.choice((3, 20, 38)) if action is NUMBER else None
        before = feet.place
        outcome = feet.press(action, action, now, wanted)
        assert outcome.goes_to in (None, feet.place)
        if outcome.goes_to is not None:
            steps += 1
            assert now - last.get((action, wanted), -1.0) >= 0.8
            if abs(feet.place - before) > 1:
                assert feet.place == wanted - 1
                assert any(0.8 <= now - at <= 2.0 for at in asked.get(wanted, ()))
        last[action, wanted] = now
        asked[wanted] = [at for at in asked.get(wanted, ()) if now - at <= 2.0] + [now]
    assert steps > 1000
