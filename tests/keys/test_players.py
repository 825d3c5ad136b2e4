"""A keyboard that speaks MPE is known as one, whether it said so or not."""

import pytest

from tests.keys.listener import Listener
from tests.keys.test_rotation import JUST
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation

QUARTER_TONE = 8192 + 85  # 49.8 cents at 48 semitones (MPE 1.1 example, as corrected: "E2 55 40")
HELD_PRESSURE, HELD_TIMBRE = 0x20, 0x50


def rig(name="mpe", **how):
    made = plan(JUST, receiver(name))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    listener.log.clear()
    return Rotation(made, listener.send, **how), listener


def mpe_note(channel, key, bend=QUARTER_TONE, full=True):
    """A note as an MPE keyboard sends it, on a channel 1 to 16: what bends it first (MPE 1.1, 2.4)."""
    nibble = channel - 1
    before = (bytes((0xB0 | nibble, 74, HELD_TIMBRE)), bytes((0xD0 | nibble, HELD_PRESSURE))) if full else ()
    return (
        bytes((0xE0 | nibble, bend & 0x7F, bend >> 7)),
        *before,
        bytes((0x90 | nibble, key, 80)),
    )


def play(rotation, *messages):
    for message in messages:
        rotation.receive(bytes.fromhex(message) if isinstance(message, str) else message, 0)


def bends(listener):
    return {
        key: listener.pitch_cents(channel, key) - 100 * key - JUST.class_cents[key % 12]
        for channel, key in listener.sounding()
    }


def bent_by(cents):
    return pytest.approx(cents, abs=0.05)


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "channel-tuning"])
def test_one_note_with_all_that_an_mpe_note_has_is_enough(name):
    rotation, listener = rig(name)
    play(rotation, *mpe_note(2, 60))

    assert bends(listener) == {60: bent_by(49.8)}


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_bends_on_three_channels_with_one_note_each_are_enough(name):
    """The first two are put right with the third."""
    rotation, listener = rig(name)
    for channel, key in ((2, 60), (3, 64), (4, 67)):
        play(rotation, *mpe_note(channel, key, full=False))

    assert bends(listener) == {60: bent_by(49.8), 64: bent_by(49.8), 67: bent_by(49.8)}


def test_its_channel_10_is_no_drum_channel():
    rotation, listener = rig()
    for place in range(13):
        play(rotation, *mpe_note(2 + place, 60 + place))

    assert bends(listener) == {60 + place: bent_by(49.8) for place in range(13)}
    assert 10 not in {channel for channel, _, _ in listener.struck}


def test_a_note_that_sounds_on_channel_10_when_it_is_known_is_ended():
    rotation, listener = rig()
    play(rotation, "99 24 50", *mpe_note(2, 60))

    assert {key for _, key in listener.sounding()} == {60}


def test_the_manager_s_pedal_holds_the_notes_of_all_members():
    for name in ("mpe", "twelve-channel-bend", "mono-bend"):
        rotation, listener = rig(name)
        play(rotation, *mpe_note(2, 60), "b0 40 7f", "81 3c 40")
        assert {key for _, key in listener.sounding()} == {60}
        play(rotation, "b0 40 00")
        assert listener.sounding() == set()


def test_pressure_and_timbre_of_a_note_go_where_the_note_went():
    """In a zone they belong to the note (MPE 1.1): not to the manager, which would move all."""
    rotation, listener = rig()
    play(rotation, *mpe_note(2, 60), *mpe_note(3, 64))
    (one, _, _), (other, _, _) = listener.struck
    assert [listener.controls[channel].get(74) for channel in (1, one, other)] == [64, 0x50, 0x50]
    listener.log.clear()
    play(rotation, "d1 66", "b2 4a 11")

    assert listener.log == [bytes((0xD0 | one - 1, 0x66)), bytes((0xB0 | other - 1, 74, 0x11))]


def test_a_player_may_say_so():
    rotation, listener = rig(mpe_keyboard=True)
    play(rotation, *mpe_note(10, 60, full=False))

    assert bends(listener) == {60: bent_by(49.8)}


@pytest.mark.parametrize(
    "played",
    [
        ["e0 55 40", "b0 4a 50", "d0 20", "90 3c 50"],  # on channel 1
        ["e1 55 40", "91 3c 50", "e1 00 40", "91 40 50", "e1 55 40", "91 43 50"],  # chords under one wheel
        ["c1 05", "e1 55 40", "91 3c 50", "c2 06", "e2 55 40", "92 40 50", "c3 07", "e3 55 40", "93 43 50"],
        ["e1 55 40", "91 3c 50", "e2 55 40", "92 40 50", "90 43 50"],  # two, and one without
        [
            *(
                "91 3c 50",
                "92 3d 50",
                "93 3e 50",
            ),  # held on three channels, and another beside each
            *("e1 55 40", "91 40 50", "e2 55 40", "92 41 50", "e3 55 40", "93 42 50"),
        ],
        ["e1 00 40", "e1 55 40", "b1 4a 50", "b1 4a 51", "d1 00", "91 3c 50"],  # hands on wheel and knob
    ],
)
def test_an_ordinary_keyboard_is_none(played):
    """Its wheel of two semitones stays one of two."""
    rotation, listener = rig()
    play(rotation, *played)

    for cents in bends(listener).values():
        assert abs(cents) < 3


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_a_range_that_a_member_said_stays(name):
    """24 semitones by RPN 0, on each member (MPE 1.1)."""
    rotation, listener = rig(name)
    for channel in (1, 2, 3):
        play(rotation, f"b{channel} 65 00", f"b{channel} 64 00", f"b{channel} 06 18")
    play(rotation, *mpe_note(2, 60), *mpe_note(3, 64))

    assert bends(listener) == {60: bent_by(24.9), 64: bent_by(24.9)}


@pytest.mark.parametrize("said", [True, False])
def test_it_is_still_known_when_the_receiver_came_back(said):
    rotation, listener = rig()
    if said:
        play(rotation, "b0 65 00", "b0 64 06", "b0 06 0f")
    play(rotation, *mpe_note(2, 60), "81 3c 40")
    rotation.start_over()
    listener.down = [set() for _ in range(17)]
    play(rotation, *mpe_note(10, 62, full=False))

    assert bends(listener) == {62: bent_by(49.8)}
    assert listener.log[-2][0] & 0xF0 == 0xE0
