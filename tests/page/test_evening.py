"""An evening's set at the page: the next song is shown, going on brings the bar, and nothing else moves."""

import os

import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.page.evening.asks import ControlRow, ReceiverRow, SongRow
from tonegen.page.keeping import Kept
from tonegen.presets.sets import set_list

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


def rows(page):
    page.ask(asks.EditSet())
    return page.shown["setrows"]


def save(page, shown, **changed):
    """What is shown, changed, and written."""
    shown = shown | changed
    songs, receivers, controls = (
        tuple(kind(**row) for row in shown[name])
        for kind, name in ((SongRow, "songs"), (ReceiverRow, "receivers"), (ControlRow, "controls"))
    )
    page.ask(asks.SaveSet(shown["stamp"], shown["title"], songs, receivers, controls))
    return page.shown["setrows"]["faults"]


@in_the_loop
def test_a_set_is_written_in_another_order_and_the_song_now_stays(invented):
    page = visitor(None, None, asks.OpenSet("invented"), asks.NextSong())
    shown = rows(page)
    assert (shown["may"], [song["name"] for song in shown["songs"]]) == (
        "all", ["Invented Waltz", "Two Rivers Stomp", "Borrowed Shoes"],
    )  # fmt: skip
    first, second, third = shown["songs"]
    assert save(page, shown, songs=[third, first, second | {"fret": "10", "line": "Slow"}]) == []
    assert [song.name for song in set_list("invented").songs] == [
        "Borrowed Shoes", "Invented Waltz", "Two Rivers Stomp",
    ]  # fmt: skip
    assert at(page) == (8, 9, 3.0)  # numbers go on from 7
    assert page.shown["evening"]["songs"][2]["fret"] == "10"


@in_the_loop
def test_a_receiver_is_written_and_is_what_the_command_reads(invented):
    page = visitor(None, None, asks.OpenSet("invented"))
    piano = {"was": -1, "name": "Piano", "receiver": "mpe", "door": "port", "where": "Stage piano"}
    more = {
        "from_channels": "1, 2",
        "from_keys": "C2 to B3",
        "transpose": "−12",
        "follows": "vallotti on key",
        "follow": "bass",
    }
    assert save(page, rows(page), receivers=[piano | more]) == []
    (written,) = set_list("invented").receivers
    assert (written.name, written.where, written.from_channels, written.transpose) == (
        "Piano", "midi Stage piano", (1, 2), -12,
    )  # fmt: skip
    assert (written.from_keys, written.lead) == ((36, 59), "bass")
    shown = rows(page)
    assert shown["leads"] == ["off", "bass", "song", "steel"]
    first, second, third = shown["songs"]
    second |= {"follows": "Piano: vallotti on G"}
    piano = shown["receivers"][0] | {"follow": "off"}
    assert save(page, shown, songs=[first, second, third], receivers=[piano]) == []
    assert set_list("invented").songs[1].follows["Piano"].root == 7
    assert set_list("invented").receivers[0].lead == "off"
    assert "follow =" not in invented.read_text()
    shown = rows(page)
    assert [song["follows"] for song in shown["songs"]] == ["", "Piano: vallotti on G", ""]
    shown["songs"][1]["follows"] = ""
    assert save(page, shown, receivers=[shown["receivers"][0] | {"door": "virtual_port"}]) == []
    assert set_list("invented").receivers[0].where == "virtual Stage piano"
    assert save(page, rows(page), receivers=[]) == []
    assert set_list("invented").receivers == ()


@in_the_loop
def test_what_the_feet_do_is_written_and_is_what_the_command_reads(invented):
    page = visitor(None, None, asks.OpenSet("invented"))
    switch = {"was": -1, "on": "control 80", "from_port": "Foot board", "does": "next", "channel": "2"}
    pedal = {"was": -1, "on": "control 20", "moves": "A"}
    assert save(page, rows(page), controls=[switch, pedal]) == []
    first, second = set_list("invented").controls
    assert (first.from_port, first.number, first.action, first.channel) == ("Foot board", 80, "next", 2)
    assert (second.action, second.change) == ("move", "A")
    shown = rows(page)
    there, also = shown["controls"]
    for wrong, field in (
        ({"on": "control 200"}, "controls[0].on"), ({"does": ""}, "controls[0].does"),
        ({"channel": "two"}, "controls[0].channel"), ({"on": ""}, "controls[0].on"),
    ):  # fmt: skip
        assert [one["field"] for one in save(page, shown, controls=[there | wrong, also])] == [field]
    faults = save(page, shown, controls=[there, also, {"was": -1, "on": "", "does": "next"}])
    assert [one["field"] for one in faults] == ["controls[2].on"]
    assert save(page, shown, controls=[also, there | {"does": "hold"}]) == []
    assert [one.action for one in set_list("invented").controls] == ["move", "hold"]
    assert save(page, rows(page), controls=[]) == []
    assert "[[controls]]" not in invented.read_text()


@in_the_loop
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_written(invented):
    page = visitor(None, None, asks.OpenSet("invented"))
    before, shown = invented.read_bytes(), rows(page)
    first, second, third = shown["songs"]
    for wrong, field in (
        ([first | {"key": "H"}, second, third], "songs[0].key"),
        ([first | {"fret": "4"}, second, third], "songs[0].fret"),  # G is at 3
        ([first, second | {"fret": "eight"}, third], "songs[1].fret"),
        ([first, second | {"fret": "nan"}, third], "songs[1].fret"),
        ([first, second | {"grips": "no such grip"}, third], "songs[1].grips"),
        ([first, second | {"follows": "Piano"}, third], "songs[1].follows"),
        ([first, second | {"follows": "Piano: equal"}, third], "songs[1].follows"),  # there is none yet
        ([first, second, third | {"name": "Invented Waltz"}], "songs[2].name"),
        ([first, second, third | {"name": ""}], "songs[2].name"),
    ):
        assert [one["field"] for one in save(page, shown, songs=wrong)] == [field]
    piano = {"was": -1, "name": "Piano", "receiver": "none such", "door": "port", "where": "Piano"}
    assert [one["field"] for one in save(page, shown, receivers=[piano])] == ["receivers[0].receiver"]
    assert save(page, shown, songs=[]) == [{"field": "", "why": 'the field "songs" is missing'}]
    assert invented.read_bytes() == before


@in_the_loop
def test_what_was_not_typed_anew_is_left_as_it_is_written(invented):
    text = invented.read_text().replace("fret = 8", "fret = 8.1234567  # a little sharp")
    invented.write_text(text)
    page = visitor(None, None, asks.OpenSet("invented"))
    assert save(page, rows(page)) == []
    assert invented.read_text() == text


@in_the_loop
def test_nothing_is_written_while_something_plays_or_somebody_else_wrote(invented):
    page = visitor(None, None, asks.OpenSet("invented"))
    page.engine.stage.hear_in_page(48_000, lambda: None)
    shown = rows(page)
    page.ask(asks.TurnSound(True))
    with pytest.raises(BadValue, match="stop the sound first"):
        save(page, shown, songs=shown["songs"][:1])
    page.ask(asks.TurnSound(False))
    invented.write_text(invented.read_text() + "# by hand\n")
    with pytest.raises(BadValue, match="changed meanwhile"):
        save(page, shown, songs=shown["songs"][:1])
    assert invented.read_text().endswith("# by hand\n")


@in_the_loop
def test_the_pages_own_list_is_put_in_order_and_back(own_folder):
    page = visitor(None, None, asks.SaveSong("Invented Waltz", 7), asks.SaveSong("Kite", 9))
    shown = rows(page)
    waltz, kite = shown["songs"]
    assert save(page, shown, songs=[kite, waltz | {"key": "Ab"}]) == []
    assert [(song["name"], song["key"]) for song in page.shown["evening"]["songs"]] == [
        ("Kite", "A"), ("Invented Waltz", "Ab"),
    ]  # fmt: skip
    with pytest.raises(BadValue, match="changed meanwhile"):
        save(page, shown, songs=[kite])
    page.ask(asks.Undo())
    assert [song["name"] for song in page.shown["evening"]["songs"]] == ["Invented Waltz", "Kite"]
    shown = rows(page)
    faults = save(page, shown, songs=[waltz | {"name": " "}, kite | {"key": "H"}])
    assert [one["field"] for one in faults] == ["songs[0].name", "songs[1].key"]
    assert [one["field"] for one in save(page, shown, songs=[kite, kite])] == ["songs[1].name"]


@in_the_loop
def test_songs_in_flats_and_in_minor_are_called_so(own_folder):
    """E9's open strings are in E: F# minor is at fret 2, Bb at 6. Names as common practice has them."""
    page = visitor(None, None, asks.SaveSong("Ballad", 6, minor=True), asks.SaveSong("Kite", 10))
    assert [song["key"] for song in page.view["songs"]] == ["F#m", "Bb"]
    assert [(song["key"], song["fret"]) for song in page.shown["evening"]["songs"]] == [
        ("F#m", "2"), ("Bb", "6"),
    ]  # fmt: skip
    shown = rows(page)
    ballad, kite = shown["songs"]
    assert save(page, shown, songs=[ballad | {"key": "Ebm"}, kite | {"key": "c minor"}]) == []
    assert [song["key"] for song in page.view["songs"]] == ["Ebm", "Cm"]
    page.ask(asks.CopySet("minor"))
    assert [(song.key, song.minor) for song in set_list("minor").songs] == [(3, True), (0, True)]
    assert 'key = "Ebm"' in (own_folder / "sets" / "minor.toml").read_text()


@in_the_loop
def test_a_minor_key_is_at_its_own_fret_or_at_its_relative_majors(invented):
    """A minor and C major share their notes: on E9 that is fret 5, or fret 8 with its pedals."""
    page = visitor(None, None, asks.OpenSet("invented"))
    first, second, third = rows(page)["songs"]
    for fret, wrong in (("5", []), ("8", []), ("20", []), ("7", ["songs[0].fret"])):
        shown = rows(page)
        faults = save(page, shown, songs=[first | {"key": "Am", "fret": fret}, second, third])
        assert [one["field"] for one in faults] == wrong
    assert page.shown["evening"]["songs"][0]["key"] == "Am"
    assert page.shown["evening"]["songs"][0]["fret"] == "20"


@in_the_loop
def test_a_set_that_comes_with_the_program_is_copied_to_be_changed(own_folder):
    page = visitor(None, None, asks.OpenSet("demo-duo"))
    assert rows(page)["may"] == "copy"
    page.ask(asks.CopySet("my-duo"))
    assert (page.shown["evening"]["name"], page.shown["setrows"]["may"]) == ("my-duo", "all")
    assert "my-duo" in [one["name"] for one in page.shown["choices"]["presets"]["sets"]]
    with pytest.raises(BadValue):
        page.ask(asks.CopySet("demo-duo"))
    page.ask(asks.OpenSet("page"), asks.SaveSong("Kite", 9), asks.CopySet("kites"))
    assert [song.name for song in set_list("kites").songs] == ["Kite"]
