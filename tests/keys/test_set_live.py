"""A set at its ports, without a MIDI system: receivers by OSC, presses as bytes."""

import json
from typing import ClassVar

import pytest

from tonegen.errors import BadValue, NoSuchDevice
from tonegen.keys import journal, set_live
from tonegen.keys.osc import Message, decode, encode
from tonegen.keys.osc_port import SET_ADDRESSES, answer
from tonegen.keys.ports import Port
from tonegen.keys.set_live import Lights, PlayedSet
from tonegen.keys.sets import set_plan
from tonegen.presets.sets import set_list
from tonegen.setlist.records import SetLights

SET = """
title = "Invented"
[[receivers]]
name = "Low"
receiver = "osc-per-class"
to = "{low}"
follows = "equal"
[[receivers]]
name = "High"
receiver = "osc-per-note"
to = "{high}"
follows = "equal"
[[controls]]
on = "control 80"
does = "next"
[[controls]]
on = "show control"
device = 5
[[songs]]
name = "Waltz"
key = "C"
[[songs]]
name = "Polka"
follows = {{ Low = "quarter-comma-meantone", High = "quarter-comma-meantone" }}
line = "Count in slow"
[[songs]]
name = "March"
[[songs]]
name = "Reel"
"""


@pytest.fixture
def file(tmp_path, synthesizers):
    low, high = (one.where.removeprefix("osc ") for one in synthesizers)
    path = tmp_path / "night.toml"
    path.write_text(SET.format(low=low, high=high))
    return path


@pytest.fixture
def played(file):
    played = PlayedSet(set_plan(set_list(str(file))).checked())
    yield played
    played.close()


@pytest.fixture
def playing(played):
    return played.playing


def test_a_press_brings_every_receiver_to_the_next_song(playing, synthesizers):
    low, high = synthesizers
    assert len(low.take(12)) == 12
    playing.receive(b"\x90\x40\x40")
    playing.receive(b"\xb0\x50\x7f")
    assert len(low.take(11)) == 11, "all but the root"
    playing.receive(b"\x90\x44\x40")
    before, after = (decode(packet)[0].arguments for packet in high.take(2))
    assert before[:2] == (64, pytest.approx(329.6276, abs=1e-3))
    assert after[0] == 68
    assert after[1] != pytest.approx(415.3047, abs=1e-3)
    assert playing.told.popleft() == "2 Polka in C; next 3 March. Count in slow."


def test_one_guard_puts_all_of_them_back(file, synthesizers):
    low, high = synthesizers
    played = PlayedSet(set_plan(set_list(str(file))).checked())
    low.take(12)
    played.playing.receive(b"\x90\x40\x40")
    assert len(journal.left()) == 2
    played.close()

    undo = low.take(12)
    assert len(undo) == 12
    assert decode(high.take(2)[1])[0].address == "/note/off"
    assert journal.left() == ()


def test_osc_is_answered_with_the_state(playing):
    def asked(address, *arguments):
        (reply,) = answer(encode(Message(f"/tonegen/{address}", arguments)), playing, SET_ADDRESSES)
        return decode(reply)[0]

    state = json.loads(asked("set/next").arguments[0])
    assert (state["song"], state["next"], state["line"]) == ("Polka", "March", "Count in slow")
    assert [one["name"] for one in state["receivers"]] == ["Low", "High"]
    again = asked("set/next")
    assert json.loads(again.arguments[0])["song"] == "Polka", "a packet that comes twice is one press"
    assert json.loads(asked("set/previous").arguments[0])["song"] == "Waltz"
    jump = asked("set/number", 4)
    assert jump.address == "/tonegen/error"
    assert "send the number again" in jump.arguments[1]
    assert "no song 40" in asked("set/number", 40).arguments[1]
    assert "12.5 is the number of no song" in asked("set/number", 12.5).arguments[1]
    assert json.loads(asked("set/hold").arguments[0])["hold"] is True
    assert asked("panic").address == asked("state").address == "/tonegen/state"
    assert asked("send-again").address == "/tonegen/state"
    assert "/tonegen/set/next" in asked("fret", 3.0).arguments[1]


def test_show_control_is_taken_by_its_device_alone(playing):
    for body in ("f0 7f 06 02 10 01 f7", "f0 7f 05 02 55 01 f7", "f0 7f 05 02 10 01 31 2e 35 f7"):
        playing.receive(bytes.fromhex(body))
        assert playing.state()["song"] == "Waltz"
    assert "format 55 is not for sound" in playing.told[0]
    assert "1.5 is the number of no song" in playing.told[1]
    playing.receive(bytes.fromhex("f0 7f 05 02 10 05 33 f7"))
    assert playing.state()["next"] == "March"
    assert playing.told.pop() == "Next is 3 March."
    playing.receive(bytes.fromhex("f0 7f 05 02 10 01 f7"))
    assert playing.state()["song"] == "March"
    playing.receive(bytes.fromhex("f0 7f 05 02 10 08 f7"))
    assert playing.state()["hold"] is True
    playing.receive(bytes.fromhex("f0 7f 05 02 10 09 f7"))
    assert playing.state()["hold"] is False


def test_a_file_that_changes_meanwhile_is_not_read_again(played, playing, file):
    played.look()
    assert list(playing.told) == []
    file.write_text(file.read_text() + "\n# later\n")
    played.look()
    played.look()
    (said,) = playing.told
    assert "has changed; it is not read again" in said


def test_a_receiver_that_goes_is_passed_over_and_set_when_it_is_back(
    played, playing, synthesizers, monkeypatch
):
    low, _ = synthesizers
    low.take(12)
    (at,) = (at for where, at in played.rig.doors.items() if where == low.where)
    monkeypatch.setattr(at.door, "is_there", lambda thorough=False: False)
    played.look()
    assert [one["state"] for one in playing.state()["receivers"]] == ["gone", "ready"]
    playing.receive(b"\xb0\x50\x7f")
    assert low.nothing_waits()
    monkeypatch.undo()
    played.look()
    assert len(low.take(12)) == 12
    assert [one["state"] for one in playing.state()["receivers"]] == ["ready", "ready"]
    assert "Low: connected, and tuned." in playing.told


def test_a_receiver_that_is_missing_names_the_songs_that_need_it(file, synthesizers):
    file.write_text(file.read_text().replace('to = "127', 'to = "nowhere.invalid:9000" # ', 1))
    made = set_plan(set_list(str(file)))
    missing = r"Low is missing: .*; needed in 3 songs \(2, 3, 4\); .*--without Low"
    with pytest.raises(NoSuchDevice, match=rf"night.toml: line 6, row 1 of receivers, to: {missing}"):
        PlayedSet(made)
    assert synthesizers[1].nothing_waits(), "the other was left alone"
    assert journal.left() == ()
    played = PlayedSet(made, without=["Low"])
    assert [one["name"] for one in played.playing.state()["receivers"]] == ["High"]
    played.close()
    with pytest.raises(BadValue, match='no receiver "Middle"'):
        PlayedSet(made, without=["Middle"])


def test_each_receiver_that_is_missing_has_a_line_of_its_own(file, tonegen):
    file.write_text(file.read_text().replace("127.0.0.1", "nowhere.invalid"))
    ended = tonegen(f"tonegen set play {file} --osc-in 127.0.0.1:0")
    assert (ended.code, ended.out) == (2, "")
    lines = [line for line in ended.err.splitlines() if line.startswith("tonegen: ")]
    assert [line.partition("line ")[2].partition(" is missing")[0] for line in lines] == [
        "6, row 1 of receivers, to: Low", "11, row 2 of receivers, to: High",
    ]  # fmt: skip


def test_nothing_goes_out_while_anything_in_the_file_is_wrong(file, synthesizers, tonegen):
    """An octave message holds 100 cents (MIDI Tuning Standard); A4 at 415 Hz is 101.3 below 440."""
    organ = '[[receivers]]\nname = "Organ"\nreceiver = "mts-octave"\nport = "Organ"\n'
    file.write_text(f"reference_hz = 415.0\n{file.read_text()}{organ}")
    said = tonegen.refused(f"tonegen set play {file} --osc-in 127.0.0.1:0")
    assert "row 1 of songs, follows: " in said
    assert "cannot hold -101.271" in said
    assert all(one.nothing_waits() for one in synthesizers)
    assert journal.left() == ()


@pytest.mark.parametrize(
    ("row", "keyboard", "code", "why"),
    [
        ("", "Keys", 3, 'there is no MIDI input called "Keys"; there are "Foot board", "Piano"'),
        ("", "o", 3, 'several MIDI inputs match "o": "Foot board", "Piano"; give more of the name'),
        ('[[controls]]\nfrom = "Toes"\non = "song select"', "Piano", 3, 'no MIDI input called "Toes"'),
        ('[[controls]]\nfrom = "pian"\non = "song select"', "Piano", 2, "come by the keyboard that you play"),
    ],
)
def test_nothing_goes_out_where_a_keyboard_or_a_foot_board_is_missing(
    file, synthesizers, tonegen, monkeypatch, row, keyboard, code, why
):
    monkeypatch.setattr(set_live, "inputs", lambda: (Port("Foot board", 0), Port("Piano", 1)))
    file.write_text(f"{file.read_text()}{row}\n")
    ended = tonegen(f"tonegen set play {file} --in {keyboard}")
    assert (ended.code, ended.out) == (code, "")
    assert why in ended.err.splitlines()[-1]
    assert all(one.nothing_waits() for one in synthesizers)
    assert journal.left() == ()
    monkeypatch.setattr(set_live, "inputs", lambda: ())
    assert "there are none; plug it in" in tonegen(f"tonegen set play {file} --in Keys").err


class Board:
    """A MIDI input whose messages the test gives; it may be away."""

    opened: ClassVar[dict] = {}
    there = True

    def __init__(self, asked, arrived, virtual=False):
        self.name = asked
        Board.opened[asked] = arrived

    def is_there(self):
        return Board.there

    def reconnect(self):
        return Board.there

    def close(self):
        pass


@pytest.fixture
def at_the_board(file, monkeypatch):
    """Plays the set with another control from a foot board; gives that, the set, and a clock to be set."""
    now = [100.0]
    monkeypatch.setattr(set_live, "MidiInput", Board)
    monkeypatch.setattr(set_live, "inputs", lambda: (Port("Foot board", 0),))
    monkeypatch.setattr("tonegen.keys.playing.perf_counter", lambda: now[0])
    opened = []

    def at_the_board(row):
        file.write_text(f'{file.read_text()}[[controls]]\nfrom = "board"\n{row}\n')
        played = PlayedSet(set_plan(set_list(str(file))).checked())
        opened.append(played)
        played.listen_to([], ["Keys"])
        return Board.opened["board"], played, now

    yield at_the_board
    for one in opened:
        one.close()


@pytest.mark.parametrize(
    ("row", "press", "let_go"),
    [
        ('on = "control 81"\ndoes = "next"', "b0 51 7f", "b0 51 00"),
        ('on = "note 36"\ndoes = "next"', "90 24 40", "80 24 40"),
        ('on = "program 5"\ndoes = "next"', "c0 04", "c0 03"),
        ('on = "program"\ndoes = "number"', "c0 01", "c0 01"),
        ('on = "song select"', "f3 01", "f3 01"),
        ('on = "show control"\ndevice = 9', "f0 7f 09 02 10 01 f7", "f0 7f 05 02 10 01 f7"),
    ],
)
def test_each_kind_of_switch_goes_on_and_sounds_nothing(at_the_board, synthesizers, row, press, let_go):
    board, played, now = at_the_board(row)
    now[0] += 5
    for text in (press, let_go):
        board(bytes.fromhex(text))
        assert played.playing.state()["song"] == "Polka"
    assert synthesizers[1].nothing_waits(), "no note of a foot"


def test_a_song_that_is_beyond_the_list_is_said(at_the_board):
    board, played, now = at_the_board('on = "song select"')
    now[0] += 5
    board(b"\xf3\x05")
    assert played.playing.told.pop() == "there is no song 6; songs go from 1 to 4."
    assert played.playing.state()["song"] == "Waltz"


def test_a_board_that_sends_its_program_when_it_is_switched_on_moves_nothing(at_the_board):
    """At the start, and when it was away."""
    board, played, now = at_the_board('on = "program"\ndoes = "number"')
    for before, after, number in (("Waltz", "Polka", 2), ("Polka", "March", 3)):
        board(bytes((0xC0, number - 1)))
        assert "came with the port itself" in played.playing.told.pop()
        assert played.playing.state()["song"] == before
        now[0] += 1.1
        board(bytes((0xC0, number - 1)))
        assert played.playing.state()["song"] == after
        for Board.there in (False, True):
            now[0] += 5
            played.look()
    assert played.playing.told.pop() == "board is back."


class Desk:
    """A lighting desk's port, which may be away."""

    there = True

    def __init__(self, asked):
        if not Desk.there:
            raise NoSuchDevice(asked)
        self.sent = Desk.sent = []

    def send(self, message):
        self.sent.append(message)

    def is_there(self):
        return Desk.there

    reconnect = is_there

    def close(self):
        self.sent.append("closed")


def test_lights_go_with_each_song_that_is_gone_to(file, monkeypatch):
    """GO of Show Control (RP-002, from memory); none at the start, none when they are back."""
    file.write_text(
        file.read_text().replace('"Invented"', '"Invented"\nlights = { port = "Desk", device = 5 }', 1)
    )
    monkeypatch.setattr("tonegen.keys.set_live.MidiOutput", Desk)
    monkeypatch.setattr(Desk, "there", False)
    played = PlayedSet(set_plan(set_list(str(file))).checked())
    played.look()
    played.look()
    assert list(played.playing.told) == [
        "No lights at Desk; they go with the songs as soon as they are there."
    ]
    played.playing.next()
    monkeypatch.setattr(Desk, "there", True)
    played.look()
    assert Desk.sent == []
    played.playing.receive(b"\xb0\x50\x7f")
    assert Desk.sent == [bytes.fromhex("f0 7f 05 02 01 01 33 f7")]
    played.playing.receive(b"\xb0\x50\x7f")
    assert len(Desk.sent) == 1, "a switch that bounces"
    played.close()
    assert Desk.sent[-1] == "closed"


def test_lights_that_go_and_come_back_are_told_of_once_each(monkeypatch):
    """Those that are there from the beginning need no word."""
    monkeypatch.setattr("tonegen.keys.set_live.MidiOutput", Desk)
    lights, said = Lights(SetLights("Desk", 5)), []
    for there in (True, True, False, False, True, True):
        monkeypatch.setattr(Desk, "there", there)
        said.append(lights.look())
    lights.close()

    gone = "No lights at Desk; they go with the songs as soon as they are there."
    assert said == ["", "", gone, "", "The lights are back; they go with the next song.", ""]


def test_osc_moves_the_pedals_of_a_set_that_has_a_steel(file, synthesizers):
    def asked(played, address, *arguments):
        (reply,) = answer(encode(Message(f"/tonegen/{address}", arguments)), played.playing, SET_ADDRESSES)
        return decode(reply)[0]

    low, _ = synthesizers
    played = PlayedSet(set_plan(set_list(str(file))).checked())
    assert "has no steel" in asked(played, "engage", "A").arguments[1]
    played.close()
    low.take(24)
    file.write_text(
        file.read_text()
        .replace('"Invented"', '"Invented"\ninstrument = "e9-ten-string"\ntemperament = "five-limit-just"', 1)
        .replace('follows = "equal"', 'follows = "steel"', 1)
    )
    played = PlayedSet(set_plan(set_list(str(file))).checked())
    low.take(12)
    assert "no change" in asked(played, "engage", "Z").arguments[1]
    assert "travel" in asked(played, "engage", "A", 2.0).arguments[1]
    assert asked(played, "engage", "A", 1.0).address == "/tonegen/state"
    played.playing.follow_steel()
    moved = played._made.moved(0, {"A": 1.0})["Low"].tuning
    assert low.take(1)[0] in moved
    assert asked(played, "release", "A").address == "/tonegen/state"
    played.playing.follow_steel()
    assert low.take(1)[0] in played._made.moved(0, {"A": 0.0})["Low"].tuning
    played.close()


def test_without_a_keyboard_receivers_follow_at_once(file, synthesizers):
    """Notes reach them by another way; presses come by OSC or from a foot board."""
    played = PlayedSet(set_plan(set_list(str(file))).checked(), passes=False)
    low, high = synthesizers
    low.take(12)
    played.playing.next()
    assert len(low.take(11)) == 11
    assert high.nothing_waits()
    assert played.playing.state()["going"] is False
    played.close()
