"""A set worked out: what each receiver is sent in each song, by the sizes of the standards, what waits."""

import mido
import numpy as np
import pytest

from tests.keys.listener import Listener
from tests.keys.test_plan import pitches
from tonegen.errors import BadPreset
from tonegen.keys.going import Waits
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import Scale, anchored, scale_of_temperament
from tonegen.keys.set_times import song_costs
from tonegen.keys.sets import set_plan
from tonegen.presets import temperament
from tonegen.presets.sets import set_list
from tonegen.setlist.records import Anchor

HEAD = 'title = "Invented"\nanchor = "root"\n'
SONGS = """
[[songs]]
name = "Waltz"
key = "C"
[[songs]]
name = "Polka"
key = "D"
[[songs]]
name = "March"
"""
SHORT_DUMPS = """
title = "Invented: keeps three tunings, on two channels"
means = "key tuning"
message = "dump"
programs = 3
select = [1, 2]
"""


@pytest.fixture
def worked_out(tmp_path):
    """A set of receivers, by their presets, that follow this; each at a port of its own unless it says."""

    def worked_out(*receivers, follows="quarter-comma-meantone on key", songs=SONGS, head=HEAD, rows=""):
        path = tmp_path / "night.toml"
        named = {name: f'to = "127.0.0.1:900{at}"' if "osc" in name else f'port = "{name}"'
                 for at, name in enumerate(receivers)}  # fmt: skip
        there = "".join(
            f'[[receivers]]\nname = "{name}"\nreceiver = "{name}"\n{where}\nfollows = "{follows}"\n'
            for name, where in named.items()
        )
        path.write_text(f"{head}{there}{rows}{songs}")
        return set_plan(set_list(str(path)))

    return worked_out


def sizes(messages):
    return [len(message) for message in messages]


def waits_for(night, name, place):
    """What a receiver waits for on its way to the song at a place."""
    (cost,) = (cost for cost in song_costs(night)[place] if cost.receiver == name)
    return cost.waits_for


def test_songs_that_share_a_change_cost_what_each_would_alone(worked_out):
    """Back and forth between two keys, with a sound in one of the songs."""
    songs = "".join(
        f'[[songs]]\nname = "{at}"\nkey = "{key}"\n' for at, key in enumerate(("C", "D", "C", "D", "D"))
    )
    sends = '[[songs.sends]]\nto = "mts-octave"\nprogram = 7\nchannel = 1\n'
    night = worked_out("mts-octave", "mpe", songs=songs + sends)
    costs = song_costs(night)

    for place in range(1, 5):
        for cost in costs[place]:
            sends = night.sends(cost.receiver, place - 1, place)
            assert cost.messages == (*sends, *night.change(cost.receiver, place - 1, place))
    assert [cost.bytes for place in costs[1:] for cost in place] == [33, 0, 33, 0, 33, 0, 2, 0]
    assert costs[1][0].messages == costs[3][0].messages != costs[2][0].messages


def test_shipped_sets_have_no_faults():
    for name in ("demo-dance-night", "demo-duo"):
        made = set_plan(set_list(name)).checked()
        assert len(made.plans) == len(made.evening.songs)
        assert {*made.plans[0]} == {one.name for one in made.evening.receivers}


def test_an_octave_message_for_each_change_and_none_where_nothing_changes(worked_out):
    """MTS, message 08 09: 33 bytes."""
    night = worked_out("mts-octave")
    assert sizes(night.change("mts-octave", 0, 1)) == [33]
    assert night.change("mts-octave", 1, 2) == ()
    assert waits_for(night, "mts-octave", 1) is Waits.SILENCE
    assert waits_for(night, "mts-octave", 2) is Waits.NOTHING
    assert night.start("mts-octave") == night.plans[0]["mts-octave"].messages


def test_single_notes_in_chunks_of_six_keys(worked_out):
    """MTS, message 08 02: 8 bytes and four for each key; meantone on D leaves no key as it is on C."""
    night = worked_out("mts-single-note")
    assert sizes(night.change("mts-single-note", 0, 1)) == [*[8 + 4 * 6] * 21, 8 + 4 * 2]
    assert waits_for(night, "mts-single-note", 1) is Waits.NOTES


def test_a_tune_for_each_note_waits_for_nothing_and_costs_nothing(worked_out):
    night = worked_out("mpe", "osc-per-note")
    for name in ("mpe", "osc-per-note"):
        assert night.change(name, 0, 1) == ()
        assert waits_for(night, name, 1) is Waits.NOTHING


def test_classes_on_channels_are_bent_when_all_is_silent(worked_out):
    """Twelve bends of three bytes; of the equal third song none."""
    night = worked_out("twelve-channel-bend")
    assert sizes(night.change("twelve-channel-bend", 0, 1)) == [3] * 12
    assert waits_for(night, "twelve-channel-bend", 1) is Waits.SILENCE


def test_a_dump_is_sent_whole_unless_it_is_stored(worked_out):
    """MTS, message 08 01: 408 bytes."""
    night = worked_out("mts-bulk")
    assert sizes(night.change("mts-bulk", 0, 1)) == [408]
    assert waits_for(night, "mts-bulk", 1) is Waits.SILENCE


def test_stored_tunings_are_selected_on_two_channels_within_25_ms(worked_out, tmp_path):
    """RPN 4 and RPN 3 without LSB: five controllers each, of three bytes, on two channels; 10 bits a byte."""
    (tmp_path / "store.toml").write_text(SHORT_DUMPS)
    night = worked_out("./store.toml", songs=SONGS + '[[songs]]\nname = "Waltz again"\nkey = "C"\n')
    name = night.evening.receivers[0].name
    start = night.start(name, 1)
    assert sizes(start) == [408, 408, *[3] * 20]
    assert [dump[5] for dump in start[:2]] == [0, 1]  # the programs
    for before, place, program in ((0, 1, 1), (1, 3, 0)):
        change = night.change(name, before, place)
        assert sum(sizes(change)) == 60
        assert sum(sizes(change)) * 10 / 31250 <= 0.025
        assert bytes((0xB0, 6, program)) in change
    assert night.change(name, 1, 2) == () == night.change(name, 0, 3)
    undo = night.undo(name)
    assert [message[5] for message in undo if len(message) == 408] == [1, 0]
    assert [message[2] for message in undo if message[:2] == bytes((0xB0, 6))][-1] == 0  # program 0 again


@pytest.mark.parametrize(
    ("programs", "sizes_sent", "cautions"), [(2, [3] * 20, 0), (1, [408], 0), (3, [408], 1)]
)
def test_more_tunings_than_programs_are_dumped_as_they_come(
    worked_out, tmp_path, programs, sizes_sent, cautions
):
    """Two keys need two tunings; five need more than three."""
    (tmp_path / "store.toml").write_text(SHORT_DUMPS.replace("programs = 3", f"programs = {programs}"))
    more = "".join(f'[[songs]]\nname = "In {key}"\nkey = "{key}"\n' for key in "EFG")
    night = worked_out("./store.toml", songs=SONGS + (more if cautions else ""))
    assert sizes(night.change("./store.toml", 0, 1)) == sizes_sent
    assert len(night.cautions) == cautions
    assert all("the songs need 5 tunings, and it keeps 3" in words for words in night.cautions)


def test_a_program_goes_to_each_channel_and_in_a_zone_to_its_manager(worked_out):
    """MIDI 1.0: bank select MSB and LSB, program counted from 0. MPE 1.1: on the manager's channel."""
    sends = "".join(
        f'[[songs.sends]]\nto = "{name}"\nprogram = 17\nbank = [1, 2]\n' for name in ("mpe", "mts-octave")
    )
    night = worked_out("mpe", "mts-octave", songs=f"{SONGS}{sends}")
    whole = [bytes.fromhex("B00001"), bytes.fromhex("B02002"), bytes.fromhex("C010")]
    assert list(night.sends("mpe", 1, 2)) == whole
    octave = night.sends("mts-octave", 1, 2)
    assert list(octave[:3]) == whole
    assert [message[0] & 15 for message in octave[::3]] == [*range(9), *range(10, 16)]
    assert night.sends("mpe", 0, 1) == ()


def test_pythagorean_with_a_fixed_is_the_worked_example():
    """Worked out by hand from MTS, message 08 09: A fixed, fifths from Eb to G#, all channels."""
    scale = anchored(scale_of_temperament(temperament("pythagorean")), Anchor.A, 0)
    every = receiver("mts-octave")
    every.channels = tuple(range(1, 17))
    (message,) = plan(scale, every).tuning
    assert message == bytes.fromhex(
        "F0 7F 7F 08 09 03 7F 7F 3C 20 45 01 3E 60 38 3F 41 20 3A 7F 43 60 3D 40 46 21 40 00 39 5F 42 40 F7"
    )


@pytest.mark.parametrize("root", [0, 3, 9])
def test_what_an_anchor_holds(root):
    built = scale_of_temperament(temperament("quarter-comma-meantone").on(root))
    moved = {anchor: anchored(built, anchor, root) for anchor in Anchor}
    assert moved[Anchor.ROOT].class_cents[root] == 0
    assert moved[Anchor.A].hz[69] == pytest.approx(440, abs=1e-9)
    assert moved[Anchor.MEAN].class_cents.sum() == pytest.approx(0, abs=1e-9)
    for scale in moved.values():  # moved as a whole: no interval changes
        assert np.diff(scale.key_cents) == pytest.approx(np.diff(built.key_cents), abs=1e-9)
        assert isinstance(scale, Scale)


def test_a_set_is_anchored_and_the_steel_is_not(worked_out):
    head = HEAD.replace('"root"', '"A"')
    night = worked_out("mts-octave", head=head)
    assert [plans["mts-octave"].scale.class_cents[9] for plans in night.plans] == [0, 0, 0]
    steel = 'instrument = "e9-ten-string"\ntemperament = "five-limit-just"\n'
    following = [worked_out("mts-octave", follows="steel", head=head + steel) for head in (head, HEAD)]
    there, rooted = (one.plans[0]["mts-octave"].scale.key_cents for one in following)
    assert np.array_equal(there, rooted)
    assert there.any()


def test_only_the_keys_of_a_zone_count_in_what_is_left(worked_out):
    night = worked_out("mts-octave-one-byte", rows='from_keys = "C2 to E2"\ntranspose = 12\n')
    assert night.plans[0]["mts-octave-one-byte"].scale.heard_keys == (48, 49, 50, 51, 52)


@pytest.mark.parametrize(
    ("receivers", "rows", "songs", "said"),
    [
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "mono-bend"\nport = "MPE"\n',
            SONGS,
            "line 11, row 2 of receivers, port: Pad and mpe are both on channel 1",
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "osc-per-key"\nport = "Other"\n',
            SONGS,
            "row 2 of receivers, receiver: osc-per-key is sent OSC; give to",
        ),
        (
            ["osc-per-key"],
            '[[receivers]]\nname = "Pad"\nreceiver = "osc-per-key"\nto = "127.0.0.1:9000"\n',
            SONGS,
            "row 2 of receivers, to: Pad and osc-per-key are both sent /tune/key there",
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "osc-per-key"\nto = "nowhere"\n',
            SONGS,
            'row 2 of receivers, to: "nowhere" is not an address',
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "osc-per-key"\nto = ":0"\n',
            SONGS,
            'row 2 of receivers, to: ":0" has no usable port',
        ),
        (
            ["mpe"],
            "",
            SONGS + '[[songs.sends]]\nto = "mpe"\nbytes = "B0 07"\n',
            "row 3 of songs, row 1 of sends, bytes: b0 07 is no whole MIDI message",
        ),
        (
            ["osc-per-note"],
            "",
            SONGS + '[[songs.sends]]\nto = "osc-per-note"\nprogram = 1\n',
            "row 3 of songs, row 1 of sends, program: osc-per-note is sent OSC",
        ),
        (["mpe"], "", '[[songs]]\nname = "Waltz"\n', "row 1 of songs, follows: quarter-comma-meantone is"),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "mts-bulk"\nport = "P"\nfollow = "song"\n',
            SONGS,
            "row 2 of receivers, follow: a dump of all keys cannot follow the chord as you play",
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "mpe"\nport = "P"\n'
            'follows = "vallotti"\nfollow = "bass"\n',
            SONGS,
            "row 2 of receivers, follow: who follows the bass has the lowest note at equal temperament",
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "mpe"\nport = "P"\nfollow = "bass"\n',
            SONGS + 'follows = { Pad = "vallotti" }\n',
            "row 3 of songs, follows: who follows the bass has the lowest note at equal temperament",
        ),
        (
            ["mpe"],
            '[[receivers]]\nname = "Pad"\nreceiver = "mts-bulk"\nport = "P"\nfollow = "song"\n',
            SONGS + 'follows = { Pad = "vallotti" }\n',
            "row 2 of receivers, follow: a dump of all keys cannot follow the chord as you play",
        ),
    ],
)  # fmt: skip
def test_what_only_a_whole_set_shows_is_named_by_line_row_and_key(worked_out, receivers, rows, songs, said):
    night = worked_out(*receivers, rows=rows, songs=songs)
    (fault,) = night.faults
    assert said in fault
    with pytest.raises(BadPreset, match=r"night\.toml: line"):
        night.checked()


def test_a_tuning_that_a_receiver_cannot_hold_is_named_once_with_the_song_that_asks(worked_out, tmp_path):
    """A bend of one semitone at a receiver that stands 50 cents low cannot hold 100 cents more."""
    (tmp_path / "narrow.toml").write_text(
        'title = "Invented"\nmeans = "bend per pitch class"\nchannels = [1,2,3,4,5,6,7,8,9,11,12,13]\n'
        "bend_range_semitones = 1\nreference_hz = 415\n"
    )
    night = worked_out("./narrow.toml", follows="equal")
    (fault,) = night.faults
    assert "row 1 of songs, follows: C: " in fault
    assert "raise bend_range_semitones" in fault
    assert night.plans[0] == {}


def test_the_song_that_leads_where_a_note_that_follows_cannot_be_held_is_named(worked_out, tmp_path):
    """A bend of one semitone, 52 cents low: 40 more can be held, but not 20 beyond them."""
    (tmp_path / "narrow.toml").write_text(
        'title = "Invented"\nmeans = "bend per pitch class"\nchannels = [1,2,3,4,5,6,7,8,9,11,12,13]\n'
        "bend_range_semitones = 1\nreference_hz = 427\n"
    )
    (tmp_path / "high.toml").write_text(f'title = "Invented"\ncents = {[0] * 11 + [40]}\n')
    pad = '[[receivers]]\nname = "Pad"\nreceiver = "./narrow.toml"\nport = "P"\nfollow = "LEAD"\n'
    songs = SONGS + 'follows = { Pad = "./high.toml" }\n'
    told = {
        lead: list(worked_out("mpe", rows=pad.replace("LEAD", lead), songs=songs).faults)
        for lead in ("off", "song")
    }

    assert told["off"] == []
    (fault,) = told["song"]
    assert "row 3 of songs, follows: B" in fault


def test_a_temperament_whose_drop_is_gone_is_one_fault(worked_out, tmp_path):
    """It was made with a drop profile that is no longer there; the set names none itself."""
    (tmp_path / "mine.toml").write_text(
        'title = "Invented"\ninstrument = "e9-ten-string"\ndrop = "gone"\n'
        "points = [{ string = 1, offset_cents = 2 }]\n"
    )
    head = HEAD + 'temperament = "./mine.toml"\n'
    night = worked_out("mts-octave", follows="steel", head=head)
    (fault,) = night.faults
    assert "was made with drop gone" in fault
    assert night.plans[0] == {}


TABLES = [
    "twelve-channel-bend",
    "channel-tuning",
    "mts-single-note",
    "mts-bulk",
    "mts-octave",
    "./store.toml",
]


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("follows", ["steel", "quarter-comma-meantone on key"])
def test_a_listener_hears_each_song_from_wherever_it_is_gone_to(worked_out, tmp_path, name, follows):
    """Jumps in any order, each by what changes alone, and back at the end, for who follows the standards."""
    (tmp_path / "store.toml").write_text(SHORT_DUMPS.replace("programs = 3", "programs = 9"))
    songs = "".join(f'[[songs]]\nname = "In {key}"\nkey = "{key}"\n' for key in ("C", "D", "Eb", "F#", "C#"))
    again = '[[songs]]\nname = "Equal"\nfollows = { "%s" = "equal" }\n' % name  # noqa: UP031
    head = (
        HEAD + 'instrument = "e9-ten-string"\ntemperament = "five-limit-just"\ndrop = "demo-soft-cabinet"\n'
    )
    night = worked_out(name, follows=follows, songs=songs + again, head=head).checked()
    places = np.random.default_rng(12).integers(0, len(night.states), 40).tolist()
    listener, place = Listener(), places[0]
    for message in night.start(name, place):
        listener.send(message)
    for to in places[1:]:
        for message in night.change(name, place, to):
            listener.send(message)
        place, made = to, night.plans[to][name]
        heard_hz = 440 * 2 ** ((pitches(made, listener) / 100 - 69) / 12)
        assert heard_hz == pytest.approx(made.hz[21:109], rel=1e-9)
    for message in night.undo(name):
        listener.send(message)
    assert pitches(made, listener) == pytest.approx(100.0 * np.arange(21, 109))
    assert set(listener.tuning_program) == {0}
    assert not any(listener.tables.values())  # offsets of every program that was used


def test_an_outside_reader_takes_every_message_as_it_is_meant(worked_out):
    """mido parses what is sent in a shipped set: the same messages, programs and banks as written."""
    night = set_plan(set_list("demo-dance-night"))
    for place in range(len(night.states)):
        for name in ("Piano", "Organ", "Pad"):
            before = place - 1 if place else None
            tuning = night.start(name) if before is None else night.change(name, before, place)
            messages = (*night.sends(name, before, place), *tuning)
            parser = mido.Parser()
            parser.feed(b"".join(messages))
            assert [bytes(message.bytes()) for message in parser] == list(messages)
    bank, program = mido.parse_all(b"".join(night.sends("Organ", None, 0)))[::2]
    assert (bank.control, bank.value, program.program, program.channel) == (0, 0, 16, 0)
