"""A press of a foot board written into the file of a set, which keeps all else that stands in it."""

import pytest

from tonegen.errors import BadPreset, BadValue, NoSuchDevice
from tonegen.keys import press_reader
from tonegen.keys.controls import Controls, control_fields
from tonegen.keys.ports import Port
from tonegen.presets.own import save_control
from tonegen.presets.sets import set_list

FILE = """\
# My evening
title = "Invented"  # by hand
instrument = "e9-ten-string"

[[controls]]  # the toe
from = "Foot board"
on = "control 80"   # right
does = "next"

# What we play
[[songs]]
name = "Waltz"  # slow
key = "C"
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "night.toml"
    path.write_text(FILE)
    return path


@pytest.mark.parametrize(
    ("message", "does", "row"),
    [
        ("b0 50 7f", "next", {"on": "control 80", "channel": 1, "does": "next"}),
        ("9f 24 40", "hold", {"on": "note 36", "channel": 16, "does": "hold"}),
        ("c0 04", "previous", {"on": "program 5", "channel": 1, "does": "previous"}),
        ("c0 04", "number", {"on": "program", "channel": 1, "does": "number"}),
        ("f3 04", "number", {"on": "song select"}),
        ("b1 14 7f", "A", {"on": "control 20", "channel": 2, "moves": "A"}),
        ("b0 50 00", "next", None),  # let go
        ("90 24 00", "next", None),
        ("80 24 40", "next", None),
        ("b0 7b 7f", "next", None),  # all notes off is no switch
        ("b0 50 7f", "number", None),
        ("f8", "next", None),
        ("f3 04", "next", None),
        ("e0 00 40", "next", None),
    ],
)
def test_what_a_press_is_called_in_the_file(message, does, row):
    assert control_fields(bytes.fromhex(message), does) == row


@pytest.mark.parametrize(
    ("message", "does"),
    [
        ("b0 51 7f", "previous"),
        ("c3 04", "number"),
        ("c0 04", "hold"),
        ("90 24 40", "hold"),
        ("b0 14 7f", "B"),
    ],
)
def test_a_press_that_was_learnt_is_taken(file, message, does):
    press = bytes.fromhex(message)
    save_control(str(file), {"from": "Foot board", **control_fields(press, does)})
    taken, pressed = Controls(set_list(str(file)).controls).taken("Foot board", press)

    assert taken
    assert does in (pressed.control.action, pressed.control.change)
    assert Controls(set_list(str(file)).controls).taken("", press) == (False, None), "by its port alone"


def test_all_else_in_the_file_stays(file):
    save_control(str(file), {"from": "Foot board", "on": "control 81", "channel": 1, "does": "previous"})
    added = '[[controls]]\nfrom = "Foot board"\non = "control 81"\nchannel = 1\ndoes = "previous"\n'
    text = file.read_text()
    assert added in text
    assert text.replace(added, "").split() == FILE.split()


def test_another_press_for_the_same_replaces_the_one_before(file):
    save_control(str(file), {"from": "Foot board", "on": "note 36", "channel": 1, "does": "next"})
    (control,) = set_list(str(file)).controls
    assert (control.kind, control.number, control.channel) == ("note", 36, 1)
    assert "# the toe" in file.read_text()
    save_control(str(file), {"on": "control 82", "channel": 1, "does": "next"})
    assert len(set_list(str(file)).controls) == 2, "from another port"


@pytest.mark.parametrize("port", ["Big Foot Board:Foot board MIDI 1", "FOOT BOARD"])
def test_a_port_that_the_file_names_by_part_is_the_same_port(file, port):
    """Else the switch of before would go on as well."""
    save_control(str(file), {"from": port, "on": "note 36", "channel": 1, "does": "next"})
    (control,) = set_list(str(file)).controls
    assert (control.from_port, control.kind, control.number) == ("Foot board", "note", 36)
    assert "# the toe" in file.read_text()


def test_a_set_without_controls_gets_its_first(file):
    file.write_text(FILE[: FILE.index("[[controls]]")] + FILE[FILE.index("# What we play") :])
    save_control(str(file), {"on": "control 82", "channel": 1, "does": "next"})
    assert [control.number for control in set_list(str(file)).controls] == [82]
    assert len(set_list(str(file)).songs) == 1


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"from": "Foot board", "on": "control 80", "channel": 1, "does": "hold"}, "claimed twice"),
        ({"on": "control 64", "channel": 1, "does": "next"}, "pedal of the keyboard"),
    ],
)
def test_what_would_be_wrong_is_refused_and_the_file_stays(file, row, why):
    with pytest.raises(BadPreset, match=why) as refused:
        save_control(str(file), row)
    assert str(file) in str(refused.value)
    assert file.read_text() == FILE
    assert [*file.parent.glob(".*")] == []


@pytest.fixture
def ports(monkeypatch):
    """What each input hears is put in by hand; one is another program's."""
    heard = {}

    class Input:
        def __init__(self, name, arrived):
            if name == "Taken":
                raise NoSuchDevice("Taken: in use")
            heard[name] = arrived

        def close(self):
            pass

    names = ("Foot board:Foot board MIDI 1 24:0", "Piano 20:0", "Taken")
    monkeypatch.setattr(press_reader, "MidiInput", Input)
    monkeypatch.setattr(press_reader, "inputs", lambda: tuple(Port(name, 0) for name in names))
    return heard


def test_a_press_says_from_which_port_it_came_but_for_the_keyboard_that_is_played(ports):
    reader = press_reader.PressReader("piano")
    assert reader.silent == ["Taken: in use"]
    board, piano = ports.values()
    board(bytes.fromhex("b0 50 00"))
    board(bytes.fromhex("b0 50 7f"))
    piano(bytes.fromhex("b0 43 7f"))
    assert reader.next("next", 0) is None, "let go"
    row = {"from": "Foot board:Foot board MIDI 1", "on": "control 80", "channel": 1, "does": "next"}
    assert reader.next("next", 0) == row
    assert reader.next("A", 0) == {"on": "control 67", "channel": 1, "moves": "A"}
    assert reader.next("next", 0) is None, "nothing was pressed"


def test_a_foot_board_that_is_plugged_in_meanwhile_is_heard_and_one_that_comes_back_again(ports, monkeypatch):
    monkeypatch.setattr(press_reader, "_LOOK_SECONDS", 0.0)
    there = [Port("Piano 20:0", 0)]
    monkeypatch.setattr(press_reader, "inputs", lambda: tuple(there))
    reader = press_reader.PressReader()
    del ports["Piano 20:0"]
    for _ in range(2):
        there.append(Port("Board 28:0", 0))
        assert reader.next("next", 0) is None
        ports.pop("Board 28:0")(bytes.fromhex("b0 50 7f"))
        assert reader.next("next", 0)["from"] == "Board"
        there.pop()
        assert reader.next("next", 0) is None
    assert ports == {}, "each is opened once"


def test_what_cannot_be_written_is_refused_before_anybody_presses(tonegen, file):
    refused = "tonegen set learn demo-duo --control next", f"tonegen set learn {file} --control nexxt"
    assert "copy it first: tonegen copy set demo-duo" in tonegen.refused(refused[0])
    assert tonegen.refused(refused[1]) == (
        '"nexxt" is nothing that a control does; give one of: next, previous, number, hold, panic; '
        "or a pedal or lever, A, B, C, F, E, V, DD, G"
    )
    with pytest.raises(BadValue, match='"Z" is nothing that a control does'):
        save_control(str(file), {"on": "control 20", "channel": 1, "moves": "Z"})
    assert file.read_text() == FILE
