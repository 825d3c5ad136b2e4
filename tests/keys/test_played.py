"""Notes of a MIDI file that follow the chord: how long each sounds, what each gets, that none is moved."""

import io
import random

import mido
import msgspec
import numpy as np
import pytest

from tests.keys.listener import Listener
from tests.keys.song import (
    BEAT,
    CADENCE,
    PEDAL,
    PUMP,
    SOSTENUTO,
    dense_song,
    messages,
    off,
    on,
    song_of,
    turned,
)
from tonegen.errors import BadValue
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.files import retune
from tonegen.keys.plan import plan
from tonegen.keys.played import cents_of_notes, follow, notes_of
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes, scale_of_temperament
from tonegen.presets import temperament
from tonegen.setlist.records import Lead

EQUAL_SCALE = scale_of_temperament(temperament("equal"))


def given(data, **said):
    played = notes_of(data)
    followed = follow(played, ChordFollower(ChordFollowing(**said), [0.0] * 128), lambda: 0.0)
    return played, followed


@pytest.mark.parametrize(
    ("timed", "seconds"),
    [
        pytest.param([on(0, 60), off(BEAT, 60)], [0.5], id="a key"),
        pytest.param(
            [turned(0, PEDAL, 64), on(0, 60), off(10, 60), turned(BEAT, PEDAL, 63)], [0.5], id="a pedal"
        ),
        pytest.param(
            [on(0, 60), turned(1, SOSTENUTO, 127), on(96, 62), off(192, 60), off(192, 62),
             turned(BEAT, SOSTENUTO, 0)], [0.5, 0.1], id="the sostenuto pedal holds what was down",
        ),
        pytest.param(
            [on(0, 60), turned(1, SOSTENUTO, 127), off(2, 60), turned(3, PEDAL, 127), turned(4, PEDAL, 0),
             turned(BEAT, SOSTENUTO, 0)], [0.5], id="whatever the other pedal does",
        ),
        pytest.param(
            [turned(0, PEDAL, 127), on(0, 60), off(10, 60), on(BEAT, 60), off(BEAT, 60),
             turned(960, PEDAL, 0)], [0.5, 0.5], id="struck again while the pedal holds it",
        ),
        pytest.param([on(0, 60), on(BEAT, 60), off(960, 60)], [0.5, 0.5], id="its note-off was lost"),
        pytest.param([on(0, 60), off(BEAT, 60, 1), turned(BEAT, 123, 0)], [0.5], id="all notes off"),
        pytest.param(
            [turned(0, PEDAL, 127), on(0, 60), off(1, 60), turned(96, 123, 0), turned(BEAT, 120, 0)], [0.5],
            id="all sound off",
        ),
        pytest.param(
            [turned(0, PEDAL, 127), on(0, 60), off(1, 60), turned(BEAT, 121, 0), on(960, 62)], [0.5, 0],
            id="reset of controllers lifts pedals; the end of the file ends what is left",
        ),
        pytest.param(
            [on(0, 60), (BEAT, "sysex", {"data": (0x7E, 0x7F, 9, 1)}), off(960, 60)], [0.5],
            id="General MIDI on",
        ),
    ],
)  # fmt: skip
def test_a_note_sounds_as_long_as_a_key_or_a_pedal_holds_it(timed, seconds):
    """480 ticks are half a second at the usual tempo (MIDI 1.0; RP-001)."""
    played = notes_of(messages(*timed))

    assert (played.end_seconds - played.begin_seconds).tolist() == pytest.approx(seconds)


def test_drums_are_left_alone_and_have_no_say():
    beat = [on(0, 61, 9)]
    with_drums, alone = (
        given(messages(*drums, on(BEAT, 60), on(BEAT, 64), off(960, 64))) for drums in (beat, [])
    )

    assert with_drums[0].left_alone.tolist() == [True, False, False]
    assert with_drums[1].cents.tolist() == [0, *alone[1].cents.tolist()]
    made = plan(EQUAL_SCALE, receiver("mpe"))
    cents, _ = cents_of_notes(messages(*beat, on(BEAT, 60)), made, Lead.BASS)
    assert cents == (None, 0.0)


def test_each_instant_is_solved_as_one_whatever_the_order_of_its_messages():
    """Off and on at one tick, in any order: what ended has no say, and nobody is first."""
    ends = [off(BEAT, key) for key in (60, 63, 66)]
    begins = [on(BEAT, key) for key in (62, 65, 71)]
    answers = set()
    for seed in range(10):
        moment = [*ends, *begins]
        random.Random(seed).shuffle(moment)
        data = messages(*(on(0, key) for key in (60, 63, 66)), *moment, off(960, 62))
        played, followed = given(data, memory=0, step_cents=40)
        answers.add(tuple(sorted(zip(played.keys.tolist(), followed.cents.round(9).tolist(), strict=True))))

    [answer] = answers
    _, new = given(messages(*begins, off(960, 62)), memory=0, step_cents=40)
    assert [cents for key, cents in answer if key in (62, 65, 71)] == pytest.approx(new.cents.tolist())


def test_a_chord_spread_over_thirty_milliseconds_is_given_what_it_ends_up_with():
    """Nine ticks are 9.4 ms at the usual tempo: three notes after the first."""
    _, spread = given(song_of((48, 55, 64, 70), spread_ticks=9))
    _, at_once = given(song_of((48, 55, 64, 70)))

    assert spread.cents == pytest.approx(at_once.cents, abs=1e-9)
    assert spread.held_moved_cents == 0


@pytest.mark.parametrize("seed", range(5))
def test_no_held_note_moves_and_the_same_song_gives_the_same(seed):
    data = dense_song(seed)
    played, followed = given(data)

    assert followed.held_moved_cents == 0
    assert followed.restruck_cents <= 12 + 1e-9
    assert abs(followed.cents).max() <= 20 + 1e-9
    assert np.array_equal(given(data)[1].cents, followed.cents)
    assert len(played) > 80


@pytest.mark.parametrize(
    "name",
    ["mpe", "twelve-channel-bend", "channel-tuning", "mts-single-note", "mts-octave", "mts-octave-one-byte"],
)
def test_a_receiver_hears_each_note_where_it_was_put(name):
    data = song_of(*CADENCE, *CADENCE)
    made = plan(EQUAL_SCALE, receiver(name))
    cents, said = cents_of_notes(data, made, Lead.BASS)
    _, followed = given(data)
    listener = Listener()
    last = {}
    for message in mido.MidiFile(file=io.BytesIO(retune(data, made, cents).data)):
        if message.is_meta:
            continue
        listener.send(bytes(message.bytes()))
        sounding = {(c, key): listener.pitch_cents(c, key) for c, key in listener.sounding()}
        assert {one: sounding[one] for one in last if one in sounding} == {
            one: cents for one, cents in last.items() if one in sounding
        }, "what sounds is never moved"
        last = sounding

    assert said == ()
    if not name.startswith("mts"):
        assert cents == tuple(followed.cents.tolist())
    assert len(listener.struck) == len(cents)
    for (_, key, pitch), wanted in zip(listener.struck, cents, strict=True):
        assert pitch == pytest.approx(100 * key + wanted, abs=0.51 if name == "mts-octave-one-byte" else 0.03)
    assert any(abs(one) > 5 for one in cents)
    assert listener.sounding() == set()


def test_single_notes_are_changed_right_before_they_sound_and_only_if_they_differ():
    made = plan(EQUAL_SCALE, receiver("mts-single-note"))
    data = messages(on(0, 60), off(10, 60), on(BEAT, 60), off(490, 60), on(960, 64), off(970, 64))
    out = mido.MidiFile(file=io.BytesIO(retune(data, made, [5.0, 5.0, None]).data))
    kinds = [message.type for message in out.tracks[0] if not message.is_meta]
    first = kinds.index("note_on")

    assert kinds[first - 1 : first + 6] == [
        "sysex", "note_on", "note_off", "note_on", "note_off", "note_on", "note_off",
    ]  # fmt: skip
    changes = [message for message in out.tracks[0] if message.type == "sysex"]
    bare = mido.MidiFile(file=io.BytesIO(retune(data, made).data))
    assert len(changes) == 1 + sum(message.type == "sysex" for message in bare.tracks[0])


def test_a_song_leads_by_its_temperament():
    """Alone, each note stands in the song's meantone; equal keys take none of it."""
    meantone = temperament("quarter-comma-meantone")
    made = plan(scale_of_temperament(meantone), receiver("mpe"))
    data = messages(on(0, 64), off(BEAT, 64), on(5000, 61), off(6000, 61))

    cents, _ = cents_of_notes(data, made, Lead.SONG, ChordFollowing(memory=0))
    assert cents == pytest.approx([meantone.offset_of_key(64), meantone.offset_of_key(61)])


def test_of_more_than_sixteen_notes_it_is_said_once():
    keys = range(40, 60)
    data = messages(*(on(0, key) for key in keys), *(off(BEAT, key) for key in keys))
    _, said = cents_of_notes(data, plan(EQUAL_SCALE, receiver("mpe")), Lead.BASS)

    assert said == ("More than 16 notes sound at once; each new one follows the 15 nearest to it.",)


def heard_in_file(data, name):
    """Of each note that is struck its key and offset, at a receiver that obeys the tuning standard."""
    made = plan(EQUAL_SCALE, receiver(name))
    cents, _ = cents_of_notes(data, made, Lead.SONG, ChordFollowing(pull=0, memory=0))
    listener, last = Listener(), {}
    for message in mido.MidiFile(file=io.BytesIO(retune(data, made, cents).data)):
        if not message.is_meta:
            listener.send(bytes(message.bytes()))
            sounding = {(c, key): listener.pitch_cents(c, key) for c, key in listener.sounding()}
            assert all(sounding[one] == pitch for one, pitch in last.items() if one in sounding)
            last = sounding
    return [(key, pitch - 100 * key) for _, key, pitch in listener.struck]


def test_in_a_file_a_class_stays_while_a_key_of_it_sounds_or_rings():
    """E over C; then over A, where it would be pure elsewhere; again in its ring; and when that is over."""
    third, fifth = -13.686, 1.955
    data = messages(
        on(0, 48), on(0, 64), on(0, 76), off(BEAT, 48), off(BEAT, 76), on(BEAT, 57), on(BEAT, 76),
        off(2 * BEAT, 64), off(2 * BEAT, 76), on(3 * BEAT, 76), off(4 * BEAT, 76), off(4 * BEAT, 57),
        on(9 * BEAT, 45), on(9 * BEAT, 64), off(10 * BEAT, 64), off(10 * BEAT, 45),
    )  # fmt: skip
    heard = heard_in_file(data, "mts-octave")

    assert heard[:3] == [
        (48, pytest.approx(0, abs=0.05)),
        *((e, pytest.approx(third, abs=0.05)) for e in (64, 76)),
    ]
    assert [cents for key, cents in heard[3:6] if key == 76] == [pytest.approx(third, abs=0.05)] * 2
    assert heard[6:] == [(45, pytest.approx(0, abs=0.05)), (64, pytest.approx(fifth, abs=0.05))]


def test_of_a_class_that_is_struck_twice_at_once_the_lower_key_is_the_bass():
    heard = heard_in_file(messages(on(0, 64), on(0, 40), on(0, 48), off(BEAT, 40)), "mts-octave")

    assert dict(heard) == pytest.approx({40: 0, 48: 13.686, 64: 0}, abs=0.05)


@pytest.mark.parametrize("name", ["mts-octave", "mts-single-note"])
@pytest.mark.parametrize("seed", range(3))
def test_in_a_file_no_table_moves_what_sounds(name, seed):
    """Any notes and pedals on two channels, a key on both at once among them."""
    assert any(abs(cents) > 3 for _, cents in heard_in_file(dense_song(seed), name))


def test_channels_that_a_table_does_not_tune_are_left_alone():
    """By its file it plays drums on 10, and hears nothing on 16 here."""
    made = plan(EQUAL_SCALE, msgspec.structs.replace(receiver("mts-octave"), channels=tuple(range(1, 16))))
    data = messages(on(0, 48), on(0, 64), on(0, 52, 15), on(0, 52, 9), off(BEAT, 48))
    cents, _ = cents_of_notes(data, made, Lead.BASS)

    assert [one is None for one in cents] == [False, False, True, True]


def test_dumps_are_refused():
    with pytest.raises(
        BadValue, match=r"^a dump of all keys cannot follow the chord; choose a receiver with"
    ):
        retune(song_of(*CADENCE), plan(EQUAL_SCALE, receiver("mts-bulk")), [0.0] * 16)


def test_a_bend_range_that_cannot_hold_the_most_is_refused():
    wide = scale_of_classes("wide", [0.0] * 11 + [295.0])
    made = plan(wide, receiver("mpe"))  # its bends reach 300 cents

    with pytest.raises(BadValue, match="B"):
        cents_of_notes(song_of(*CADENCE), made, Lead.SONG)


def test_patterns_that_do_not_sound_together_are_refused():
    data = bytearray(song_of(*PUMP))
    data[9] = 2

    with pytest.raises(BadValue, match="patterns that do not sound together"):
        notes_of(bytes(data))
