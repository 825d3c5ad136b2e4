"""An evening's set at the page: the next song is shown, going on brings the bar, and nothing else moves."""

import os

import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadPreset
from tonegen.page.keeping import Kept

INVENTED = """\
title = "Invented: three songs"
instrument = "e9-ten-string"
temperament = "five-limit-just"
reference_hz = 442
again_seconds = {again_seconds}

[[songs]]
name = "Invented Waltz"
key = "G"
line = "Intro alone"

[[songs]]
name = "Two Rivers Stomp"
fret = 8

[[songs]]
name = "Borrowed Shoes"
number = 7
"""


def write(own_folder, text):
    place = own_folder / "sets" / "invented.toml"
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(text)
    return place


@pytest.fixture
def invented(own_folder):
    """A set of the player's in which each press counts, however fast."""
    return write(own_folder, INVENTED.format(again_seconds=0))


def at(page):
    """Now and next, and where the bar is."""
    shown = page.shown["evening"]
    return shown["now"], shown["next"], page.view["fret"]


@in_the_loop
def test_the_next_song_is_shown_and_going_on_brings_the_bar(invented):
    """E9's open strings are in E, so G is at fret 3; what a song does not name stays."""
    page = visitor(None, None, asks.Bar(5.0), asks.OpenSet("invented"))
    shown = page.shown["evening"]
    assert (shown["title"], at(page)) == ("Invented: three songs", (0, 1, 5.0))
    assert shown["songs"] == [
        {"number": 1, "name": "Invented Waltz", "key": "G", "fret": "3", "line": "Intro alone"},
        {"number": 2, "name": "Two Rivers Stomp", "key": "C", "fret": "8", "line": ""},
        {"number": 7, "name": "Borrowed Shoes", "key": "C", "fret": "8", "line": ""},
    ]
    there = []
    for _ in range(3):
        page.ask(asks.NextSong())
        there.append(at(page))
    assert there == [(1, 2, 3.0), (2, 7, 8.0), (7, 0, 8.0)]
    page.ask(asks.NextSong())
    assert (at(page), page.shown["evening"]["words"]) == ((7, 0, 8.0), "That was the last song.")
    page.ask(asks.PreviousSong(), asks.PreviousSong())
    assert at(page) == (1, 2, 3.0)
    page.ask(asks.PreviousSong())
    assert (at(page)[0], page.shown["evening"]["words"]) == (1, "There is none before the first song.")


@in_the_loop
def test_one_press_is_never_taken_twice(own_folder):
    """Two tablets under two hands, or a bouncing switch: 0.8 s between presses that count."""
    write(own_folder, INVENTED.format(again_seconds=0.8))
    page = visitor(None, None, asks.OpenSet("invented"))
    page.ask(asks.NextSong(), asks.NextSong(), asks.NextSong())
    assert at(page)[:2] == (1, 2)


@in_the_loop
def test_a_song_that_is_touched_is_only_shown_until_the_player_goes_on(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong())
    page.ask(asks.ShowNext(7))
    assert at(page) == (1, 7, 3.0)
    page.ask(asks.NextSong())
    assert at(page) == (7, 0, 8.0)
    page.ask(asks.ShowNext(3))
    assert "no song 3" in page.shown["evening"]["words"]


@in_the_loop
def test_moving_the_bar_does_not_lose_the_place(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong(), asks.Bar(5.0))
    assert at(page) == (1, 2, 5.0)


@in_the_loop
def test_a_song_of_another_list_does_not_lose_the_place(invented):
    page = visitor(None, None, asks.SaveSong("Kite", 9), asks.OpenSet("invented"), asks.NextSong())
    page.ask(asks.GoToSong("Kite"))
    assert at(page) == (1, 2, 5.0)


@in_the_loop
def test_the_place_is_found_again_after_a_restart(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong(), asks.NextSong())
    again = visitor(Kept(playing=page.engine.at.playing))
    assert at(again) == (2, 7, 8.0)


@in_the_loop
def test_a_page_of_another_instrument_goes_by_the_key(invented):
    """C6's open strings are in C; there G is at fret 7. The fret that is shown is that of the set's steel."""
    page = visitor(None, None, asks.Choose(instrument="c6-ten-string"), asks.OpenSet("invented"))
    assert page.shown["evening"]["rig"] == "e9-ten-string, five-limit-just, A4 = 442 Hz"
    page.ask(asks.NextSong())
    assert at(page) == (1, 2, 7.0)
    assert page.shown["evening"]["songs"][0]["fret"] == "3"


@in_the_loop
def test_the_rig_of_the_set_is_taken_when_the_player_says_so(invented):
    page = visitor(None, None, asks.Choose(instrument="c6-ten-string"), asks.OpenSet("invented"))
    assert page.view["setting"]["temperament"] == "equal"
    setting = page.ask(asks.TakeRig())["setting"]
    assert (setting["instrument"], setting["temperament"], setting["reference_hz"]) == (
        "e9-ten-string", "five-limit-just", 442.0,
    )  # fmt: skip
    assert page.shown["evening"]["rig"] == ""
    assert page.ask(asks.Undo())["setting"]["instrument"] == "c6-ten-string"


@in_the_loop
def test_the_pages_own_list_is_a_set_too(own_folder):
    page = visitor(None, None, asks.SaveSong("Invented Waltz", 7), asks.SaveSong("Kite", 9))
    assert [song["key"] for song in page.shown["evening"]["songs"]] == ["G", "A"]
    page.ask(asks.NextSong())
    assert (at(page), page.view["songs"][0]["taken"]) == ((1, 2, 3.0), True)
    page.ask(asks.GoToSong("Kite"))  # by its chip in the other part of the page
    assert at(page) == (2, 0, 5.0)
    page.ask(asks.ForgetSong("Kite"))
    assert at(page)[:2] == (0, 1)


@in_the_loop
def test_a_set_that_cannot_be_read_is_not_opened(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong())
    write(invented.parents[1], INVENTED.format(again_seconds=0).replace('key = "G"', 'key = "H"'))
    for name in ("invented", "no-such-set", str(invented), "../sets/invented"):
        with pytest.raises(BadPreset):
            page.ask(asks.OpenSet(name))
    assert (page.shown["evening"]["name"], at(page)[:2]) == ("invented", (1, 2))


@in_the_loop
def test_a_file_that_changes_is_read_when_the_player_says_so(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong())
    invented.write_text(INVENTED.format(again_seconds=0).replace("fret = 8", "fret = 10"))
    os.utime(invented, (1e9, 1e9))  # whenever that was
    page.ask(asks.NextSong())
    assert (at(page), page.shown["evening"]["words"]) == (
        (2, 7, 8.0), f"{invented} has changed; open the set again to go by it.",
    )  # fmt: skip
    page.ask(asks.OpenSet("invented"), asks.NextSong(), asks.NextSong())
    assert (at(page), page.shown["evening"]["words"]) == ((2, 7, 10.0), "")


@in_the_loop
def test_a_set_that_is_gone_at_the_next_start_is_said(invented):
    page = visitor(None, None, asks.OpenSet("invented"))
    invented.unlink()
    again = visitor(Kept(playing=page.engine.at.playing))
    assert again.shown["evening"]["songs"] == []
    assert 'no set called "invented"' in again.shown["evening"]["words"]
