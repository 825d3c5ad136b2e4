"""Which channel a note takes: held notes keep their tune, new ones have theirs, and nothing is cut for it."""

from dataclasses import replace

import msgspec
import pytest

from tests.keys.listener import Listener
from tests.keys.test_rotation import JUST, MEANTONE, PLANS, rig
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation
from tonegen.keys.scale import scale_of_classes

FIXED = ["twelve-channel-bend", "channel-tuning"]


def play(rotation, *texts, at=0.0):
    for text in texts:
        rotation.receive(bytes.fromhex(text), at)


def pitches(listener):
    return {(channel, key): listener.pitch_cents(channel, key) for channel, key in listener.sounding()}


def offset(listener, key):
    """Cents of the sounding note on this key, from equal temperament."""
    ((channel, _),) = [place for place in listener.sounding() if place[1] == key]
    return listener.pitch_cents(channel, key) - 100 * key


def strings_apart():
    """The steel's E3 is 6 cents low and its E4 2 cents high: their pitch class stands between them."""
    scale = scale_of_classes("two strings", [0, 0, 0, 0, -2, 0, 0, 0, 0, 0, 0, 0])
    key_cents = scale.key_cents.copy()
    key_cents[52], key_cents[64] = -6.0, 2.0
    return replace(scale, key_cents=key_cents)


@pytest.mark.parametrize("name", FIXED)
def test_a_note_alone_on_its_channel_has_its_own_octave_s_string(name):
    """Beside another octave, or its ring, it has what that has: nothing that sounds is moved."""
    made = plan(strings_apart(), receiver(name))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    rotation = Rotation(made, listener.send)
    play(rotation, "90 34 50", at=1.0)
    assert offset(listener, 52) == pytest.approx(-6, abs=0.05)
    play(rotation, "90 40 50", at=2.0)
    assert offset(listener, 64) == offset(listener, 52)
    play(rotation, "80 34 40", "80 40 40", "90 40 50", at=3.0)
    assert offset(listener, 64) == pytest.approx(-6, abs=0.05), "it rings"
    play(rotation, "80 40 40", at=4.0)
    play(rotation, "90 40 50", at=9.0)
    assert offset(listener, 64) == pytest.approx(2, abs=0.05)
    play(rotation, "90 4c 50", at=9.0)
    assert rotation.waited == 0


# -- after a change of temperament, where each pitch class has a channel ------------------------------------


@pytest.mark.parametrize("name", FIXED)
@pytest.mark.parametrize("hold", ["finger", "sustain pedal", "sostenuto pedal", "ring"])
def test_a_new_note_has_the_new_tune_while_another_of_its_name_sounds(name, hold):
    """It takes a free channel; the note that sounds stays where it is."""
    rotation, listener = rig(name)
    play(rotation, "90 34 50")
    if hold == "sustain pedal":
        play(rotation, "b0 40 7f", "80 34 40")
    elif hold == "sostenuto pedal":
        play(rotation, "b0 42 7f", "80 34 40")
    elif hold == "ring":
        play(rotation, "80 34 40")
    channel = listener.struck[0][0]
    rotation.retune(PLANS[name, "meantone"])
    before = listener.pitch_cents(channel, 52)
    play(rotation, "90 40 50", at=0.5)

    assert listener.pitch_cents(channel, 52) == before
    assert offset(listener, 64) == pytest.approx(MEANTONE.class_cents[4], abs=0.02)
    assert rotation.waited == 0


@pytest.mark.parametrize("name", FIXED)
def test_whoever_lost_his_channel_takes_another(name):
    """E took the free channel longest unused, C's; then C takes one in turn, and all are in the new tune."""
    rotation, listener = rig(name)
    play(rotation, "90 34 50")
    rotation.retune(PLANS[name, "meantone"])
    keys = range(60, 71)  # with the old E all twelve channels
    for key in keys:
        play(rotation, f"90 {key:02x} 50")

    for key in keys:
        assert offset(listener, key) == pytest.approx(MEANTONE.class_cents[key % 12], abs=0.02)
    assert offset(listener, 52) == pytest.approx(JUST.class_cents[4], abs=0.02)


@pytest.mark.parametrize("name", FIXED)
def test_a_note_waits_for_the_new_tune_where_all_channels_are_held(name):
    """It sounds in the tune nearest to its own; nothing is cut, nothing moves, and it is counted."""
    rotation, listener = rig(name)
    for key in range(48, 60):
        play(rotation, f"90 {key:02x} 50")
    rotation.retune(PLANS[name, "meantone"])
    before = pitches(listener)
    play(rotation, "90 40 50")

    assert rotation.waited == 1
    nearest = min(JUST.class_cents, key=lambda cents: abs(cents - MEANTONE.class_cents[4]))
    assert offset(listener, 64) == pytest.approx(nearest, abs=0.02)
    after = pitches(listener)
    assert {place: after[place] for place in before} == before

    play(rotation, "80 34 40", "80 40 40")
    play(rotation, "90 40 50", at=3)
    assert offset(listener, 64) == pytest.approx(MEANTONE.class_cents[4], abs=0.02)
    assert rotation.waited == 1


@pytest.mark.parametrize("name", FIXED)
def test_each_note_is_back_on_its_own_channel_once_that_is_silent(name):
    rotation, listener = rig(name)
    play(rotation, "90 34 50")
    rotation.retune(PLANS[name, "meantone"])
    play(rotation, "90 40 50", "80 40 40", "80 34 40", at=1)
    play(rotation, "90 40 50", at=9)

    assert listener.struck[-1][0] == listener.struck[0][0] == 5
    assert offset(listener, 64) == pytest.approx(MEANTONE.class_cents[4], abs=0.02)


def test_all_notes_off_ends_the_note_whose_key_is_down_though_the_pedal_holds_it_elsewhere_too():
    rotation, listener = rig("mpe")
    play(rotation, "b0 40 7f", "90 30 50", "80 30 40")
    rotation.retune(PLANS["mpe", "meantone"])
    play(rotation, "90 30 50", "b0 7b 00", "b0 40 00")

    assert listener.sounding() == set()
    assert rotation.active_voices == 0


# -- sharing before stealing, where each note has a channel -------------------------------------------------


def test_no_note_is_cut_under_the_pedal():
    """Twelve tunes fit the fourteen channels of the zone, however many notes the pedal holds."""
    made = plan(JUST, receiver("mpe"))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    rotation = Rotation(made, listener.send)
    play(rotation, "b0 40 7f")
    keys = [28, 40, 52, 64, 28 + 7, 40 + 7, 52 + 7, *range(53, 84)]  # a bass, octaves and fifths, then all
    for key in keys:
        play(rotation, f"90 {key:02x} 50", f"80 {key:02x} 40")

    assert {key for _, key in listener.sounding()} == set(keys)
    for key in set(keys):
        assert offset(listener, key) == pytest.approx(JUST.class_cents[key % 12], abs=0.02)


def test_tunes_within_the_receiver_s_step_are_one():
    """It makes whole cents: C -0.2, C# 0.1 and D 0.3 sound alike there, and share when they must."""
    coarse = msgspec.structs.replace(
        receiver("mpe"), resolution_cents=1.0, channels=(2, 3), untouched=(), bend_range_semitones=3
    )
    near = scale_of_classes("near", (-0.2, 0.1, 0.3, 20, 0, 0, 0, 0, 0, 0, 0, 0))
    out = []
    rotation = Rotation(plan(near, coarse), out.append)
    play(rotation, "90 3c 50", "90 3f 50", "90 3d 50", "90 3e 50")  # C, D#, then C# and D

    assert rotation.active_voices == 4
    assert len({message[0] for message in out if message[0] & 0xF0 == 0x90}) == 2


def test_the_lowest_note_never_gives_way():
    """With more tunes than channels another note does; what only the pedal holds goes first."""
    small = msgspec.structs.replace(receiver("mpe"), channels=(2, 3, 4, 5), untouched=())
    made = plan(JUST, small)
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    rotation = Rotation(made, listener.send)
    play(rotation, "90 24 50")  # the bass, held from first to last
    play(rotation, "90 3e 50", "b0 40 7f", "90 41 50", "80 41 40", "90 43 50")
    play(rotation, "90 45 50", at=1)
    assert {key for _, key in listener.sounding()} == {0x24, 0x3E, 0x43, 0x45}, "the pedalled F went"

    for key in (0x46, 0x48 + 1, 0x4A + 1):
        play(rotation, f"90 {key:02x} 50", at=2)
        assert 0x24 in {one for _, one in listener.sounding()}


# -- channel tuning: what is the player's, and what is ours --------------------------------------------------

HALF_UP = ("e0 00 60",)


def test_the_player_s_bend_range_reaches_a_receiver_whose_wheel_is_free():
    rotation, listener = rig("channel-tuning")
    play(rotation, "90 40 50", "b0 65 00", "b0 64 00", "b0 06 01", *HALF_UP)

    assert offset(listener, 64) == pytest.approx(JUST.class_cents[4] + 50, abs=0.02)
    assert set(listener.range_semitones[1:10]) == {1.0}

    play(rotation, "b0 26 32")  # and 50 cents
    assert offset(listener, 64) == pytest.approx(JUST.class_cents[4] + 75, abs=0.02)


def test_the_player_s_own_tuning_adds_to_the_channel_s():
    """RPN 1 and 2 of his keyboard, as they add up where a channel is bent."""
    rotation, listener = rig("channel-tuning")
    play(rotation, "90 40 50", "b0 65 00", "b0 64 01", "b0 06 48", "b0 65 00", "b0 64 02", "b0 06 41")
    shift = 100 + 8 / 64 * 100  # one semitone, and 8/64 of one

    assert offset(listener, 64) == pytest.approx(JUST.class_cents[4] + shift, abs=0.02)
    play(rotation, "90 43 50")
    assert offset(listener, 67) == pytest.approx(JUST.class_cents[7] + shift, abs=0.02)


# -- a receiver that came back -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["mpe", "mono-bend", *FIXED])
def test_what_the_player_had_set_is_set_again_in_a_receiver_that_came_back(name):
    rotation, _ = rig(name)
    play(rotation, "c0 05", "b0 07 50", "b0 40 7f", "b0 65 00", "b0 64 00", "b0 06 01", *HALF_UP, "90 40 50")
    after = Listener()
    rotation._out._send = rotation._send = after.send
    rotation.start_over()
    play(rotation, "90 45 50", "80 45 40", at=1)

    assert offset(after, 69) == pytest.approx(JUST.class_cents[9] + 50, abs=0.02), "the pedal holds it"
    channel = 1 if name == "mpe" else after.struck[0][0]
    assert (after.program[channel], after.controls[channel][7]) == (5, 0x50)
    assert rotation.active_voices == 1


def test_a_reset_of_the_player_s_puts_him_at_rest_as_well():
    rotation, listener = rig("twelve-channel-bend")
    play(rotation, "b0 07 50", *HALF_UP, "90 40 50", "f0 7e 7f 09 01 f7")
    listener.log.clear()
    play(rotation, "90 45 50", at=1)

    assert [message.hex(" ") for message in listener.log] == ["9a 45 50"]
