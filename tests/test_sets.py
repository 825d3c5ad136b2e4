"""Sets: what an evening's file says, where everything stands in each song, and how its faults are named."""

import re
from dataclasses import replace

import pytest

from tonegen.errors import BadPreset, BadValue
from tonegen.presets.sets import set_and_faults, set_list
from tonegen.setlist.records import (
    Action,
    Anchor,
    ControlKind,
    FollowKind,
    Follows,
    SetControl,
    SetList,
    SetReceiver,
    SetSong,
    SongSend,
)
from tonegen.setlist.states import states

RIG = """\
title = "Invented: a test night"
instrument = "e9-ten-string"

[[receivers]]
name = "Piano"
receiver = "mts-single-note"
port = "Stage"

[[receivers]]
name = "Organ"
receiver = "mts-octave"
port = "Organ"
follows = "vallotti on D"

[[controls]]
from = "Foot board"
on = "control 80"
does = "next"
"""
SONGS = """
[[songs]]
name = "Waltz"
key = "G"

[[songs]]
name = "Polka"
fret = 10
"""


@pytest.fixture
def read(tmp_path):
    """What is read of a set with this text."""

    def read(text):
        path = tmp_path / "night.toml"
        path.write_text(text)
        return set_list(str(path))

    return read


@pytest.fixture
def refused(read):
    """What is said of a set with this text, without the folder."""

    def refused(text):
        with pytest.raises(BadPreset) as error:
            read(text)
        said = str(error.value)
        assert "\n" not in said
        return said[said.index("night.toml: ") + len("night.toml: ") :]

    return refused


def test_receivers_controls_and_songs(read):
    night = read(RIG + SONGS)
    assert (night.name, night.title, night.instrument) == ("night", "Invented: a test night", "e9-ten-string")
    assert night.receivers == (
        SetReceiver("Piano", "mts-single-note", "midi Stage", Follows(FollowKind.STEEL)),
        SetReceiver("Organ", "mts-octave", "midi Organ", Follows(FollowKind.TEMPERAMENT, "vallotti", 2)),
    )
    assert night.controls == (SetControl("Foot board", ControlKind.CONTROL, Action.NEXT, 80),)
    assert night.songs == (SetSong("Waltz", 1, 7, 3.0), SetSong("Polka", 2, 2, 10.0))
    assert (night.anchor, night.again_seconds, night.jumps_at_once) == (Anchor.ROOT, 0.8, False)


def test_key_and_fret_give_each_other(read):
    """Open E9 is in E: G is at the third fret, the tenth plays D, and half way nobody can name a key."""
    night = read(RIG + SONGS + '[[songs]]\nname = "Slide"\nfret = 3.5\n')
    assert [(song.key, song.fret) for song in night.songs] == [(7, 3.0), (2, 10.0), (None, 3.5)]


def test_what_a_song_does_not_name_stays(read):
    night = read(
        RIG
        + """
[[songs]]
name = "First"
key = "G"
grips = ["E major 3-4-5-6-8-10"]
follows = { Organ = "equal" }
line = "Once only"

[[songs]]
name = "Second"

[[songs]]
name = "Third"
key = "A"
follows = { Piano = "young-2 on key" }

[[songs]]
name = "Fourth"
key = "C"
"""
    )
    first, second, third, fourth = states(night)
    assert (second.key, second.fret, second.grips, second.follows) == (
        first.key, first.fret, first.grips, first.follows,
    )  # fmt: skip
    assert second.follows["Organ"] == Follows(FollowKind.TEMPERAMENT, "equal")
    assert second.follows["Piano"] == Follows(FollowKind.STEEL)
    assert second.song.line == ""  # a line is for its own song
    assert [state.follows["Piano"].root for state in (third, fourth)] == [9, 0]


PIANO_1, PIANO_5 = SongSend(1), SongSend(5)
ON_3 = SongSend(7, channel=3)
VOLUME, PAN = SongSend(other=bytes.fromhex("B00760")), SongSend(other=bytes.fromhex("B00A40"))


def sending(*songs):
    """The states of songs that send this to the piano."""
    rows = [SetSong(f"Song {number}", number, sends=own) for number, own in enumerate(songs, 1)]
    return states(SetList("night", "Invented", tuple(rows)))


def test_a_program_stays_until_another_comes_and_bytes_until_others_do():
    there = sending(
        {"Piano": (PIANO_1, VOLUME)}, {"Piano": (ON_3,)}, {"Piano": (PAN,)}, {"Piano": (PIANO_5,)}
    )
    assert [state.sends["Piano"] for state in there] == [
        (PIANO_1, VOLUME), (PIANO_1, ON_3, VOLUME), (PIANO_1, ON_3, PAN), (PIANO_5, PAN),
    ]  # fmt: skip


def test_going_on_sends_what_the_song_names_and_a_jump_what_the_songs_between_named():
    first, second, third, fourth = sending(
        {"Piano": (PIANO_1,)}, {"Piano": (ON_3,)}, {}, {"Piano": (PIANO_1,)}
    )
    assert first.sends_after(None) == {"Piano": (PIANO_1,)}
    assert second.sends_after(first) == {"Piano": (ON_3,)}
    assert third.sends_after(second) == {}
    assert third.sends_after(first) == {"Piano": (PIANO_1, ON_3)}
    assert fourth.sends_after(third) == {"Piano": (PIANO_1,)}  # named again, sent again
    assert third.sends_after(fourth) == {"Piano": (PIANO_1, ON_3)} == second.sends_after(None)
    assert first.sends_after(second) == {"Piano": (PIANO_1,)}  # a program for all channels ends that of one


def test_a_receiver_plays_its_channels_and_its_zone():
    low = SetReceiver("Organ", "mpe", "midi Organ", Follows(FollowKind.STEEL), (2,), (36, 59))
    assert low.plays(2, 36)
    assert low.plays(2, 59)
    assert not low.plays(2, 60)
    assert not low.plays(1, 48)
    assert replace(low, from_channels=()).plays(16, 48)


def test_songs_are_found_by_number(read):
    night = read(RIG + SONGS + '[[songs]]\nname = "Late"\nnumber = 12\n[[songs]]\nname = "Later"\n')
    assert [night.place_of(number) for number in (1, 2, 12, 13)] == [0, 1, 2, 3]
    with pytest.raises(BadValue, match="there is no song 3; songs go from 1 to 13"):
        night.place_of(3)


def assert_named(rows, row, said, refused):
    """The last row of a kind is refused so, at the line of the key that is said first, else at its own."""
    text = f"{RIG}{SONGS}[[{rows}]]\n{row}\n"
    key = re.split("[,:]", said.replace("row 1 of sends, ", "").removeprefix("row 1 of "))[0]
    lines = text.splitlines()
    header = max(at for at, line in enumerate(lines) if line.startswith(("[[songs.", f"[[{rows}]]")))
    if found := re.search('no field "(.+)" here', said):
        key = found[1]
    within = [at for at, line in enumerate(lines) if re.match(rf"{key}\b", line) and at > header]
    at = (within[0] if key and within else header) + 1
    place = f"line {at}, row {text.count(f'[[{rows}]]')} of {rows}"
    assert refused(text).startswith(f"{place}{said}" if said[0] == ":" else f"{place}, {said}")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('name = "Waltz"', 'name: Waltz is taken by row 1 already; give each its own'),
        ('name = "X"\nnumber = 2', "number: 2 is taken by row 2 already"),
        (
            'name = "X"\nkey = "D"\nfret = 8',
            "fret: key and fret disagree: D is at fret 10 or 12 higher, fret 8 is C",
        ),
        ('name = "X"\nnumber = 12.5', "number: expected a whole number, got one with a decimal point"),
        ('name = "X"\nkey = "H"', 'key: "H" is not the name of a note'),
        ('name = "X"\nfret = 99', "fret: "),
        ('name = "X"\nfret = "no"', "fret: expected a number"),
        ('name = "X"\ntempo = 90', ': there is no field "tempo" here'),
        ("number = 7", ': the field "name" is missing'),
        ('name = "X"\ngrips = ["H"]', 'grips: '),
        (
            'name = "X"\nfollows = { Choir = "equal" }',
            'follows: there is no receiver "Choir" in this set; there are: Piano, Organ',
        ),
        ('name = "X"\nfollows = { Organ = "velvet" }', "follows: there is no temperament"),
        ('name = "X"\nfollows = { Organ = "vallotti on H" }', "follows: "),
        ('name = "X"\nfollows = { Organ = "gone.syx" }', "follows: "),
        ('name = "X"\n[[songs.sends]]\nto = "Choir"\nprogram = 1', "row 1 of sends, to: "),
        (
            'name = "X"\n[[songs.sends]]\nto = "Organ"\nprogram = 129',
            "row 1 of sends, program: expected a whole number <= 128",
        ),
        (
            'name = "X"\n[[songs.sends]]\nto = "Organ"\nbank = [0, 2]',
            "row 1 of sends, bank: a bank is chosen together with a program",
        ),
        ('name = "X"\n[[songs.sends]]\nto = "Organ"\nbytes = "B0 7"', "row 1 of sends, bytes: "),
        ('name = "X"\n[[songs.sends]]\nto = "Organ"', "row 1 of sends: says nothing to send"),
    ],
)  # fmt: skip
def test_a_wrong_song_is_named_by_line_row_and_key(refused, row, said):
    assert_named("songs", row, said, refused)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('name = "Piano"\nreceiver = "mpe"\nport = "A"', "name: Piano is taken"),
        ('name = "A"\nreceiver = "mqe"\nport = "A"', "receiver: there is no receiver"),
        ('name = "A"\nreceiver = "mpe"', ": say where it is"),
        ('name = "A"\nreceiver = "mpe"\nport = "A"\nto = "x:9"', ": say where it is"),
        ('name = "A"\nreceiver = "mpe"\nport = "A"\nfrom_keys = "C2"', "from_keys: "),
        ('name = "A"\nreceiver = "mpe"\nport = "A"\nfrom_keys = "C4 to C2"', "from_keys: "),
        ('name = "A"\nreceiver = "mpe"\nport = "A"\nfrom_channels = [17]', "row 1 of from_channels: "),
        ('name = "A"\nreceiver = "mpe"\nport = "A"\nfollows = "velvet"', "follows: "),
        (
            'name = "A"\nreceiver = "mpe"\nport = "A"\nfollow = "drums"',
            'follow: "drums" leads no chord; write one of: off, bass, song, steel',
        ),
    ],
)  # fmt: skip
def test_a_wrong_receiver_is_named_by_line_row_and_key(refused, row, said):
    assert_named("receivers", row, said, refused)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            'from = "foot"\non = "control 80"\ndoes = "previous"',
            "on: control 80 from foot is claimed twice, also by row 1",
        ),
        (
            'from = "Foot board"\non = "control 80"\nmoves = "A"',
            "on: control 80 from Foot board is claimed twice, also by row 1",
        ),
        ('on = "control 64"\ndoes = "next"', "on: control 64 is a pedal of the keyboard"),
        ('on = "control"\ndoes = "next"', "on: "),
        ('on = "control 120"\ndoes = "next"', "on: "),
        ('on = "program 0"\ndoes = "next"', "on: "),
        ('on = "lever"\ndoes = "next"', "on: "),
        ('on = "song select 3"', "on: "),
        ('on = "song select"\ndoes = "next"', "does: "),
        ('on = "song select"\nchannel = 1', "channel: "),
        ('on = "program"\ndoes = "next"', "does: any program would do next"),
        ('on = "control 3"\ndoes = "number"', "does: number comes with a program change"),
        ('on = "control 3"', "does: say what it does"),
        ('on = "control 3"\ndoes = "again"', "does: "),
        ('on = "control 3"\nmoves = "Z"', "moves: "),
        ('on = "note 3"\nmoves = "A"', "moves: a note cannot be a pedal"),
        ('on = "control 3"\nmoves = "A"\ndoes = "next"', "moves: goes alone"),
        ('on = "show control"', "device: show control needs the number of its device"),
        ('on = "show control"\ndevice = 112', "device: 112 is a group"),
        ('on = "control 3"\ndoes = "next"\ndevice = 1', "device: "),
    ],
)  # fmt: skip
def test_a_wrong_control_is_named_by_line_row_and_key(refused, row, said):
    assert_named("controls", row, said, refused)


@pytest.mark.parametrize(
    ("first", "second", "claimed"),
    [
        ('on = "control 4"', 'on = "control 4"', True),
        ('on = "control 4"', 'on = "control 5"', False),
        ('on = "control 4"', 'on = "note 4"', False),
        ('on = "control 4"\nchannel = 1', 'on = "control 4"\nchannel = 2', False),
        ('on = "control 4"\nchannel = 1', 'on = "control 4"', True),
        ('on = "control 4"\nfrom = "Left"', 'on = "control 4"\nfrom = "Right"', False),
        ('on = "control 4"\nfrom = "Left"', 'on = "control 4"\nfrom = "left board"', True),
        ('on = "control 4"\nfrom = "Left"', 'on = "control 4"', False),  # the keyboard that is played
        ('on = "program 5"', 'on = "program 6"', False),
    ],
)
def test_a_control_is_claimed_by_the_first_row_that_its_message_could_be(
    read, refused, first, second, claimed
):
    text = f'{RIG}{SONGS}[[controls]]\n{first}\ndoes = "next"\n[[controls]]\n{second}\ndoes = "previous"\n'
    if claimed:
        assert "row 3 of controls, on: control 4" in refused(text)
        assert "is claimed twice, also by row 2" in refused(text)
    else:
        assert len(read(text).controls) == 3


@pytest.mark.parametrize(("device", "claimed"), [(5, True), (6, False), (127, True)])
def test_devices_of_show_control_and_a_program_among_all(read, refused, device, claimed):
    shows = "".join(f'[[controls]]\non = "show control"\ndevice = {one}\n' for one in (5, device))
    if claimed:
        assert "show control is claimed twice" in refused(RIG + SONGS + shows)
    else:
        assert len(read(RIG + SONGS + shows).controls) == 3
    programs = (
        '[[controls]]\non = "program"\ndoes = "number"\n[[controls]]\non = "program 5"\ndoes = "hold"\n'
    )
    assert "program 5 is claimed twice" in refused(RIG + SONGS + programs)


def test_the_line_of_a_row_within_a_row_is_that_of_its_own_song(refused):
    """Both songs send something; it is the second that is wrong."""
    sends = '[[songs.sends]]\nto = "Organ"\nprogram = {}\n'
    text = RIG + '[[songs]]\nname = "A"\n' + sends.format(1) + '[[songs]]\nname = "B"\n' + sends.format(200)
    at = text[: text.index("program = 200")].count("\n") + 1
    assert refused(text).startswith(f"line {at}, row 2 of songs, row 1 of sends, program: ")


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ('instrument = "e8"', "line 2, instrument: there is no instrument"),
        ('temperament = "velvet"', "line 2, temperament: there is no temperament"),
        ('root = "H"', "line 2, root: "),
        ("reference_hz = 4400", "line 2, reference_hz: "),
        ('drop = "demo-soft-cabinet"', "line 2, drop: a drop needs an instrument"),
        ('lights = { port = "Desk", device = 112 }', "line 2, lights, device: 112 is a group"),
        ('lights = { port = "Desk" }', "line 2, lights: "),
        (
            'anchor = "B"',
            'line 2, anchor: "B" is not a note that can stand at equal; write one of: root, A, mean',
        ),
        ('pedals = "yes"', 'line 2: there is no field "pedals" here'),
    ],
)
def test_a_wrong_head_is_named_by_line_and_key(refused, head, said):
    assert refused(f'title = "Invented"\n{head}\n[[songs]]\nname = "Waltz"\n').startswith(said)


def test_a_temperament_of_another_instrument_is_refused(refused, tmp_path):
    (tmp_path / "mine.toml").write_text(
        'title = "Mine"\ninstrument = "c6-lap-steel"\npoints = [{ string = 1, offset_cents = 2 }]\n'
    )
    text = (RIG + SONGS).replace("\n\n[[rec", '\ntemperament = "./mine.toml"\n\n[[rec', 1)
    assert "line 3, temperament: temperament mine belongs to c6-lap-steel, not to e9-ten-string" in refused(
        text
    )
    following = RIG + SONGS + 'follows = { Organ = "./mine.toml" }\n'
    assert 'belongs to an instrument; write "steel" to follow it' in refused(following)


def test_a_steel_is_followed_only_where_there_is_one(read, refused):
    without = (RIG + SONGS).replace('instrument = "e9-ten-string"\n', 'temperament = "young-2"\nroot = "D"\n')
    assert "a fret needs an instrument" in refused(without)
    night = read(without.replace("fret = 10", 'key = "D"'))
    assert night.receivers[0].follows == Follows(FollowKind.TEMPERAMENT, "young-2", 2)
    assert [song.fret for song in night.songs] == [None, None]
    steel = without.replace("fret = 10", 'follows = { Piano = "steel" }')
    assert "there is no steel in this set" in refused(steel)


def test_everything_that_is_wrong_is_told_at_once(tmp_path):
    path = tmp_path / "night.toml"
    path.write_text(RIG.replace("control 80", "lever").replace("mts-octave", "oct") + SONGS.replace("G", "H"))
    evening, faults = set_and_faults(str(path))
    assert evening is None
    assert [fault.partition(": line ")[2].partition(":")[0] for fault in faults] == [
        "11, row 2 of receivers, receiver", "17, row 1 of controls, on", "22, row 1 of songs, key",
    ]  # fmt: skip
    with pytest.raises(BadPreset) as error:
        set_list(str(path))
    assert str(error.value) == faults[0]


def test_show_control_and_song_select_say_themselves_what_to_do(read):
    rows = '[[controls]]\non = "show control"\ndevice = 5\n[[controls]]\non = "song select"\n'
    show, select = read(RIG + SONGS + rows).controls[1:]
    assert show == SetControl("", ControlKind.SHOW_CONTROL, Action.SHOW, device=5)
    assert select == SetControl("", ControlKind.SONG_SELECT, Action.NUMBER)
