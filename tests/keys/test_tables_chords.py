"""Keys that follow the chord at receivers tuned by tables, or by OSC: what is sent, and what stays."""

import random

import msgspec
import pytest

from tests.keys.listener import Listener
from tests.keys.player import Player
from tonegen import presets
from tonegen.keys.cable import Cable
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.going import Going
from tonegen.keys.osc import decode
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament
from tonegen.pitch import hz_from_key

EQUAL = scale_of_temperament(presets.temperament("equal"))
MEANTONE = scale_of_temperament(presets.temperament("quarter-comma-meantone"))
THIRD, FIFTH = -13.686, 1.955  # of 5:4 and 3:2 from equal temperament
RING = 2.0  # what the presets have


class Stage(Player):
    """A player and a receiver by tables that hears what is sent, and when."""

    def __init__(self, name, scale=EQUAL, **said):
        self.receiver = receiver(name)
        if name == "mts-octave":
            self.receiver = msgspec.structs.replace(self.receiver, channels=tuple(range(1, 17)))
        made = plan(scale, self.receiver)
        self.listener = Listener()
        for message in made.messages:
            self.listener.send(message)
        self.follower = ChordFollower(ChordFollowing(**said), scale.key_cents.tolist())
        self.going = Going(made, Cable(self.listener.send))
        self.going.follow(self.follower)
        super().__init__(self.going.receive)
        self.listener.log.clear()

    @property
    def offsets(self):
        return {key: self.listener.pitch_cents(at, key) - 100 * key for at, key in self.listener.sounding()}


def test_a_single_note_gets_one_change_of_its_key_right_before_it():
    stage = Stage("mts-single-note", pull=0)
    stage.strike(60, 64, 67, wait=0.005)

    kinds = [(message[0], message[7] if message[0] == 0xF0 else message[1]) for message in stage.listener.log]
    assert kinds == [(0x90, 60), (0xF0, 64), (0x90, 64), (0xF0, 67), (0x90, 67)], "C stands there already"
    assert [len(message) for message in stage.listener.log if message[0] == 0xF0] == [12, 12], "one key each"
    assert stage.offsets == pytest.approx({60: 0, 64: THIRD, 67: FIFTH}, abs=0.01)
    stage.lift(64)
    stage.strike(64, wait=5)
    assert stage.listener.log[-1][0] == 0x90, "nothing differs"
    assert stage.listener.log[-2][0] == 0x80


def test_a_single_note_stays_where_its_change_brought_it():
    """A middle voice comes first, and the bass 5 ms later to it: one key is changed."""
    stage = Stage("mts-single-note")
    stage.strike(64, 60, wait=0.005)
    changes = [message[7] for message in stage.listener.log if message[0] == 0xF0]

    assert changes == [60]
    assert stage.offsets[64] == pytest.approx(0, abs=0.01)
    assert stage.offsets[60] > 5


def test_two_young_notes_of_a_class_stay_together():
    stage = Stage("mts-octave", pull=0)
    stage.strike(64, 76, 60, wait=0.002)

    assert stage.offsets == pytest.approx(
        {voice & 0x7F: one for voice, one in stage.follower.cents.items()}, abs=0.02
    )
    assert stage.offsets[64] == pytest.approx(stage.offsets[76])


def test_a_chord_by_pitch_class_is_pure_however_it_is_spread():
    stage = Stage("mts-octave", pull=0)
    stage.strike(64, 67, 48, wait=0.01)

    assert stage.offsets == pytest.approx({48: 0, 64: THIRD, 67: FIFTH}, abs=0.05)


@pytest.mark.parametrize("name", ["mts-octave", "mts-single-note"])
def test_a_key_or_a_class_that_sounds_or_rings_stays_and_so_does_a_new_note_on_it(name):
    stage = Stage(name, pull=0)
    again = 76 if name == "mts-octave" else 64
    stage.strike(60, 64)
    held = stage.offsets[64]
    stage.lift(60, 64)
    stage.play(0xB0, 7, 100, wait=0.5)  # it still rings
    before = len(stage.listener.log)
    stage.strike(again, wait=0.5)
    assert stage.listener.log[before:] == [bytes((0x90, again, 80))]
    stage.strike(61, wait=0.001)

    assert stage.offsets[again] == pytest.approx(held, abs=1e-9), "and the new C sharp has not moved it"
    stage.lift(again, 61)
    stage.strike(again, wait=RING + 1)
    assert stage.offsets[again] != pytest.approx(held, abs=1)


def test_a_reset_is_followed_by_the_tuning_and_forgets():
    stage = Stage("mts-octave")
    stage.strike(60, 64)
    stage.play(0xFF)
    stage.going.send_due(stage.now + 9)

    assert stage.follower.cents == {}
    assert stage.listener.octave[1] == pytest.approx([0] * 12, abs=0.01)


def test_another_song_leads_from_its_first_note_on():
    stage = Stage("mts-single-note")
    stage.strike(60)
    stage.going.retune(plan(MEANTONE, stage.receiver))
    stage.lift(60)
    before = len(stage.listener.log)
    assert stage.going.send_due(stage.now + 9) is None
    assert len(stage.listener.log) == before, "each note brings its own"
    stage.strike(61, wait=5)

    assert stage.offsets[61] == pytest.approx(float(MEANTONE.key_cents[61]), abs=0.01)


@pytest.mark.parametrize("name", ["mts-octave", "mts-single-note"])
@pytest.mark.parametrize("seed", range(3))
def test_whatever_is_played_nothing_settled_moves_and_nothing_hangs(name, seed):
    """Keys and both pedals on two channels: what has sounded for 30 ms stays; the same gives the same."""
    logs = []
    for _ in range(2):
        rng, stage, since = random.Random(seed), Stage(name), {}
        for _ in range(400):
            before = {one: stage.listener.pitch_cents(*one) for one in stage.listener.sounding()}
            channel = rng.randrange(2)
            what = rng.choice(((0x90, rng.randrange(48, 76), 80), (0x80, rng.randrange(48, 76), 64),
                               (0xB0, rng.choice((64, 66)), rng.choice((0, 127)))))  # fmt: skip
            wait = rng.choice((0, 0.004, 0.02, 0.3, 3))
            stage.play(what[0] | channel, *what[1:], wait=wait)
            sounding = stage.listener.sounding()
            for one in sounding:
                since.setdefault(one, stage.now)
            since = {one: at for one, at in since.items() if one in sounding}
            if what[0] == 0x90:
                since[channel + 1, what[1]] = stage.now
            for one, pitch in before.items():
                if one in sounding and stage.now - since[one] > 0.0301:
                    assert stage.listener.pitch_cents(*one) == pytest.approx(pitch, abs=1e-9)
            heard = sorted(stage.listener.pitch_cents(*one) - 100 * one[1] for one in sounding)
            assert heard == pytest.approx(sorted(stage.follower.cents.values()), abs=0.03)
        stage.going.finish(stage.now)
        assert stage.listener.sounding() == set()
        assert stage.follower.cents == {}
        logs.append(stage.listener.log)

    assert logs[0] == logs[1]


def test_osc_notes_have_their_frequency_in_the_chord_and_keep_it():
    made, sent = plan(EQUAL, receiver("osc-per-note")), []
    follower = ChordFollower(ChordFollowing(pull=0), EQUAL.key_cents.tolist())
    going = Going(made, Cable(sent.append))
    going.follow(follower)
    for key in (48, 55, 64):
        going.receive(bytes((0x90, key, 80)), 1.0)
    cents = {48: 0, 55: FIFTH, 64: THIRD}

    for packet, (key, offset) in zip(sent, cents.items(), strict=True):
        (message,) = decode(packet)
        assert message.arguments[:2] == (key, pytest.approx(float(hz_from_key(key, offset, 440)), rel=1e-6))
    for key in cents:
        going.receive(bytes((0x80, key, 64)), 2.0)
    assert follower.cents == {}
    assert len(sent) == 6
