"""Notes of a MIDI file that follow the chord: how long each sounds, what each gets, that none is moved."""

import io
import random

import mido
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
    cents, _ = cents_of_notes(messages(*beat, on(BEAT, 60)), made, ChordFollowing())
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


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "channel-tuning", "mts-single-note"])
def test_a_receiver_hears_each_note_where_it_was_put(name):
    data = song_of(*CADENCE, *CADENCE)
    made = plan(EQUAL_SCALE, receiver(name))
    cents, said = cents_of_notes(data, made, ChordFollowing())
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
    assert cents == tuple(followed.cents.tolist())
    assert len(listener.struck) == len(cents)
    for (_, key, pitch), wanted in zip(listener.struck, cents, strict=True):
        assert pitch == pytest.approx(100 * key + wanted, abs=0.03)
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

    cents, _ = cents_of_notes(data, made, ChordFollowing(memory=0))
    assert cents == pytest.approx([meantone.offset_of_key(64), meantone.offset_of_key(61)])


def test_of_more_than_sixteen_notes_it_is_said_once():
    keys = range(40, 60)
    data = messages(*(on(0, key) for key in keys), *(off(BEAT, key) for key in keys))
    _, said = cents_of_notes(data, plan(EQUAL_SCALE, receiver("mpe")), ChordFollowing())

    assert said == ("More than 16 notes sound at once; each new one follows the 15 nearest to it.",)


@pytest.mark.parametrize("name", ["mts-octave", "mts-bulk"])
def test_tables_of_all_notes_are_refused(name):
    with pytest.raises(BadValue, match=r"tables of all notes at once, which cannot follow the chord; choose"):
        retune(song_of(*CADENCE), plan(EQUAL_SCALE, receiver(name)), [0.0] * 16)


def test_a_bend_range_that_cannot_hold_the_most_is_refused():
    wide = scale_of_classes("wide", [0.0] * 11 + [295.0])
    made = plan(wide, receiver("mpe"))  # its bends reach 300 cents

    with pytest.raises(BadValue, match="B"):
        cents_of_notes(song_of(*CADENCE), made, ChordFollowing())


def test_patterns_that_do_not_sound_together_are_refused():
    data = bytearray(song_of(*PUMP))
    data[9] = 2

    with pytest.raises(BadValue, match="patterns that do not sound together"):
        notes_of(bytes(data))
