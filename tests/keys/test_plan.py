"""What a plan promises, heard by a receiver that follows the standards."""

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.keys.listener import Listener
from tonegen.errors import BadPreset, BadValue
from tonegen.keys import osc
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import Scale, scale_of_classes
from tonegen.pitch import hz_from_key
from tonegen.presets import names

STEPS = {  # of each means, in cents, by its standard
    "twelve-channel-bend": 300 / 8192,
    "channel-tuning": 100 / 8192,
    "mts-single-note": 100 / 16384,
    "mts-bulk": 100 / 16384,
    "mts-octave": 100 / 8192,
    "mts-octave-one-byte": 1.0,
}


def heard(messages):
    listener = Listener()
    for message in messages:
        listener.send(message)
    return listener


def pitches(made, listener):
    """Cents of every piano key, on the channel that a player's note would take."""
    channels = made.receiver.midi_channels
    by_class = made.receiver.__class__.__name__ in ("BendPerClass", "TuningPerClass")
    return np.array([
        listener.pitch_cents(channels[key % 12] if by_class else channels[0], key) for key in range(21, 109)
    ])  # fmt: skip


@pytest.mark.parametrize("name", STEPS)
@given(
    offsets=st.lists(st.floats(-60, 60), min_size=12, max_size=12),
    reference=st.sampled_from((440.0, 442.0, 438.5)),
)
@settings(max_examples=40, deadline=None)
def test_a_receiver_hears_what_the_plan_promises(name, offsets, reference):
    scale = scale_of_classes("any", np.clip(offsets, -55, 55), reference)
    made = plan(scale, receiver(name))
    sounding = pitches(made, heard(made.messages))

    moved = 1200 * np.log2(reference / 440)
    keys = np.arange(21, 109)
    assert sounding == pytest.approx(100 * keys + made.sent_cents[21:109] + moved, abs=1e-6)
    assert np.abs(made.left_cents[21:109]).max() <= STEPS[name] / 2 * (1 + 1e-6)
    assert made.hz[21:109] == pytest.approx(440 * 2 ** ((sounding / 100 - 69) / 12), rel=1e-9)


@pytest.mark.parametrize("name", STEPS)
def test_undo_restores_equal_temperament(name):
    scale = scale_of_classes("just", [0, 12, 4, 16, -14, -2, -10, 2, 14, -16, 18, -12])
    made = plan(scale, receiver(name))
    listener = heard([*made.messages, b"\x90\x3c\x40", *made.undo])

    assert pitches(made, listener) == pytest.approx(100.0 * np.arange(21, 109))
    assert listener.sounding() == set()
    assert listener.range_semitones == [2.0] * 17


def test_undo_goes_back_to_the_first_tuning_program():
    """RPN 4 and 3: a receiver that was told to use program 5 of bank 2 uses program 0 of bank 0 again."""
    kept = msgspec.structs.replace(receiver("mts-single-note"), program=5, bank=2, select=(3,))
    made = plan(scale_of_classes("just", [0] * 4 + [-14] + [0] * 7), kept)

    assert heard(made.messages).tuning_program[3] == 5
    assert heard([*made.messages, *made.undo]).tuning_program[3] == 0
    assert b"\xb2\x06\x00" in made.undo


def test_an_upper_zone_is_asked_for_on_channel_16():
    upper = msgspec.structs.replace(receiver("mpe"), manager=16, channels=(15, 14), untouched=())
    made = plan(scale_of_classes("equal", [0] * 12), upper)

    assert [message.hex() for message in made.set_up[:3]] == ["bf6500", "bf6406", "bf0602"]


@pytest.mark.parametrize(("manager", "channels"), [(1, tuple(range(2, 17))), (16, (15, 14, 13))])
def test_undo_takes_the_zone_back(manager, channels):
    """MPE 1.1: an MPE Configuration Message of no members ends a zone; its channels are ordinary ones again,
    for which General MIDI 2 has a bend range of 2 semitones.
    """
    zone = msgspec.structs.replace(receiver("mpe"), manager=manager, channels=channels)
    made = plan(scale_of_classes("just", [0, 12, 4, 16, -14, -2, -10, 2, 14, -16, 18, -12]), zone)
    tuned = heard(made.messages)
    assert (tuned.manager, tuned.members) == (manager, channels)

    note = bytes((0x90 + channels[0] - 1, 60, 64))
    listener = heard([*made.messages, note, *made.undo])
    assert (listener.manager, listener.members) == (None, ())
    assert listener.range_semitones == [2.0] * 17
    assert listener.sounding() == set()


def test_a_bank_is_named_where_the_receiver_has_one():
    """Message 08 04 of bank 2, program 5; RPN 4 selects the bank."""
    banked = msgspec.structs.replace(receiver("mts-bulk"), bank=2, program=5)
    made = plan(scale_of_classes("equal", [0] * 12), banked)

    assert made.tuning[0][:7].hex(" ") == "f0 7e 7f 08 04 02 05"
    assert [message.hex() for message in made.set_up[:3]] == ["b06500", "b06404", "b00602"]


def test_a_receiver_s_own_reset_comes_last():
    own = msgspec.structs.replace(receiver("mts-octave"), reset=("F0 7E 7F 09 01 F7",))
    assert plan(scale_of_classes("equal", [0] * 12), own).undo[-1] == bytes.fromhex("f07e7f0901f7")


def test_the_same_offsets_cost_less_in_a_finer_format():
    scale = scale_of_classes("third", [0.4] * 12)

    coarse = plan(scale, receiver("mts-octave-one-byte")).worst_left
    fine = plan(scale, receiver("mts-octave")).worst_left

    assert coarse.cents == pytest.approx(0.4)
    highest_hz = 4186.009 * 2 ** (0.4 / 1200)  # C8, the piano's highest key
    assert coarse.beats_per_second == pytest.approx(highest_hz - 4186.009, abs=1e-3)
    assert fine.beats_per_second < coarse.beats_per_second / 50


def test_a_receiver_that_cuts_to_whole_cents_is_aimed_at_the_middle():
    cutting = msgspec.structs.replace(receiver("mts-single-note"), resolution_cents=1.0, rounding="down")
    scale = scale_of_classes(
        "just", [0, 11.731, 3.91, 15.641, -13.686, -1.955, -9.776, 1.955, 13.686, -15.6, 17.6, -11.7]
    )
    made = plan(scale, cutting)

    assert np.abs(made.left_cents[21:109]).max() <= 0.5
    nearest = np.rint(scale.key_cents[21:109])
    assert made.sent_cents[21:109] == pytest.approx(nearest), "the nearest whole cent, not the one below"
    listener = heard(made.messages)
    assert np.floor(pitches(made, listener) + 1e-9) == pytest.approx(
        100 * np.arange(21, 109) + made.sent_cents[21:109]
    )


OWN = {"60": 3.0, "61": -2.5, "72": 1.0}


def test_a_receiver_that_is_off_by_itself_is_brought_back_key_by_key():
    """A key that plays 3 cents sharp is asked for 3 cents less, and sounds where it should."""
    off = msgspec.structs.replace(receiver("mts-single-note"), own_cents=OWN)
    scale = scale_of_classes("low", [-10.0] * 12)
    made = plan(scale, off)

    assert made.aim_cents[[60, 61, 62, 72]] == pytest.approx([-13, -7.5, -10, -11])
    assert made.sent_cents[60:73] == pytest.approx([-10] * 13, abs=0.01)
    listener = heard(made.messages)
    assert pitches(made, listener)[60 - 21 : 62 - 21] == pytest.approx([5987, 6092.5], abs=0.01)
    assert made.aim_of(60, -5.0) == pytest.approx(-8)


def test_what_a_pitch_class_cannot_take_back_is_left():
    """C4 is 3 cents sharp and C5 one: both are brought down by the mean of the Cs that are heard."""
    off = msgspec.structs.replace(receiver("mts-octave"), own_cents=OWN)
    scale = scale_of_classes("equal", [0.0] * 12)
    made = plan(scale, off)

    cs = [key for key in scale.heard_keys if key % 12 == 0]
    mean = 4.0 / len(cs)
    assert made.sent_cents[[60, 72]] == pytest.approx([3 - mean, 1 - mean], abs=0.01)
    assert made.worst_left.cents == pytest.approx(-(3 - mean), abs=0.01)


def test_own_offsets_are_of_keys(tmp_path):
    path = tmp_path / "piano.toml"
    path.write_text('title = "x"\nmeans = "key tuning"\nmessage = "dump"\nown_cents = { 128 = 1.0 }\n')
    with pytest.raises(BadPreset, match='own_cents: "128" is not a MIDI key'):
        receiver(str(path))


def test_a_receiver_whose_bend_falls_short_is_bent_further():
    short = msgspec.structs.replace(receiver("twelve-channel-bend"), bend_scale=127 / 128)
    made = plan(scale_of_classes("low", [-50.0] * 12), short)

    bends = [message for message in made.messages if message[0] & 0xF0 == 0xE0]
    value = (bends[0][2] << 7 | bends[0][1]) - 8192
    assert value / 8192 * 300 * 127 / 128 == pytest.approx(-50, abs=300 / 8192)


def test_osc_messages_say_the_frequency_of_each_key():
    made = plan(scale_of_classes("just", [0] * 9 + [-15.641] + [0] * 2, 441.0), receiver("osc-per-key"))
    (message,) = osc.decode(made.messages[69])

    assert message.address == "/tune/key"
    assert message.arguments == (69, pytest.approx(441.0 * 2 ** (-15.641 / 1200), rel=6e-8))
    assert osc.decode(made.undo[69])[0].arguments == (69, 440.0)


def test_osc_templates_are_filled_with_what_their_places_mean():
    """A4 15.641 cents low: 5:3 above C. Its beats against equal temperament are narrow, so negative."""
    asked = ("f {ratio}", "f {beats}", "f {cents}", "i {class}", "s {note}", "i {key}")
    told = msgspec.structs.replace(receiver("osc-per-key"), arguments=asked)
    made = plan(scale_of_classes("just", [0] * 9 + [-15.641] + [0] * 2), told)

    ratio = 2 ** (-15.641 / 1200)
    assert osc.decode(made.messages[69])[0].arguments == (
        pytest.approx(ratio, rel=1e-7), pytest.approx(440 * (ratio - 1), rel=1e-6), pytest.approx(-15.641),
        9, "A4", 69,
    )  # fmt: skip


def test_osc_offsets_count_from_the_receiver_s_own_reference():
    made = plan(scale_of_classes("high", [0] * 12, 442.0), receiver("osc-per-class"))

    cents = osc.decode(made.messages[0])[0].arguments[1]
    assert cents == pytest.approx(1200 * np.log2(442 / 440), rel=1e-6)


def test_pitch_classes_speak_for_keys_that_differ():
    """A string's own octave may lie elsewhere: what a receiver by pitch class leaves is told."""
    keys = np.zeros(128)
    keys[64] = -14.0
    made = plan(Scale("one string", keys, np.zeros(12)), receiver("mts-octave"))

    assert made.left_cents[64] == -14.0
    assert made.worst_left.beats_per_second == pytest.approx(
        float(hz_from_key(64) - hz_from_key(64, -14)), rel=1e-9
    )


@pytest.mark.parametrize(
    ("name", "offset", "says"),
    [
        ("twelve-channel-bend", 301.0, "E: a bend range of 3 semitones cannot hold 301 cents; raise"),
        ("mpe", -305.0, r"a bend range of 3 semitones cannot hold -305 cents; raise"),
        ("mts-octave-one-byte", 70.0, "cannot hold 70 cents; use the two-byte form"),
        ("mts-octave", 101.0, "cannot hold 101 cents; tune by key"),
    ],
)
def test_an_offset_that_the_means_cannot_hold(name, offset, says):
    offsets = [0.0] * 12
    offsets[4] = offset
    with pytest.raises(BadValue, match=says):
        plan(scale_of_classes("far", offsets), receiver(name))


@pytest.mark.parametrize("name", sorted(set(names("receivers")) - {"mpe", "mono-bend", "osc-per-note"}))
def test_only_what_changes_is_sent_to_a_receiver_that_is_tuned(name):
    """One pitch class moves, E: the rest stays where it is, and nothing is said of it."""
    first = plan(scale_of_classes("first", MEANTONE_BUT_E), receiver(name))
    moved = plan(scale_of_classes("moved", np.where(np.arange(12) == 4, 7, MEANTONE_BUT_E)), receiver(name))
    changes = moved.changes_from(first)
    size = sum(map(len, changes))

    assert moved.changes_from(moved) == ()
    assert size > 0
    if moved.receiver.per == "key" and name not in ("mts-bulk", "osc-per-class"):
        assert size < sum(map(len, moved.tuning)) / 8, "E is one key in twelve"
    if not name.startswith("osc"):
        by_changes, whole = Listener(), Listener()
        for message in (*first.messages, *changes):
            by_changes.send(message)
        for message in moved.messages:
            whole.send(message)
        for channel in moved.receiver.midi_channels:
            for key in range(128):
                assert by_changes.pitch_cents(channel, key) == whole.pitch_cents(channel, key)
    else:
        assert {one for one in moved.tuning if one not in first.tuning} == set(changes)


MEANTONE_BUT_E = np.array([10.0, -14, 3, 20, -3, 14, -10, 7, -17, 0, 17, -7])


@pytest.mark.parametrize("name", ["mpe", "mono-bend", "osc-per-note"])
def test_a_receiver_whose_notes_bring_their_tuning_is_sent_no_changes(name):
    first = plan(scale_of_classes("first", np.zeros(12)), receiver(name))
    assert plan(scale_of_classes("moved", MEANTONE_BUT_E), receiver(name)).changes_from(first) == ()
