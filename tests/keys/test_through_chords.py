"""Keys that follow the chord as they are played: what a receiver hears, whatever comes."""

import random

import pytest

from tests.keys.listener import Listener
from tonegen import presets
from tonegen.errors import BadValue
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.live import PlayedThrough, check_follows
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation
from tonegen.keys.scale import scale_of_classes, scale_of_temperament, strings_of_rig
from tonegen.pitch import nearest_key
from tonegen.setup.context import rig_asked_for
from tonegen.setup.setting import Hands

EQUAL = scale_of_temperament(presets.temperament("equal"))
MEANTONE = scale_of_temperament(presets.temperament("quarter-comma-meantone"))
RECEIVERS = ("mpe", "twelve-channel-bend", "mono-bend", "channel-tuning")
THIRD, FIFTH = -13.686, 1.955  # of 5:4 and 3:2 from equal temperament
SETTLED = 0.0301


class Stage:
    """A player, the rotation that follows, and a receiver that hears it."""

    def __init__(self, name="mpe", scale=EQUAL, **said):
        made = plan(scale, receiver(name))
        self.listener = Listener()
        for message in made.messages:
            self.listener.send(message)
        self.follower = ChordFollower(ChordFollowing(**said), scale.key_cents.tolist())
        self.rotation = Rotation(made, self.listener.send)
        self.rotation.follow(self.follower)
        self.now = 100.0

    def play(self, *message, wait=0.0):
        self.now += wait
        self.rotation.receive(bytes(message), self.now)

    def strike(self, *keys, wait=0.0):
        for key in keys:
            self.play(0x90, key, 80, wait=wait)

    def lift(self, *keys):
        for key in keys:
            self.play(0x80, key, 64)

    @property
    def sounding(self):
        """Channel and key of what sounds, with its pitch."""
        return {one: self.listener.pitch_cents(*one) for one in self.listener.sounding()}

    @property
    def offsets(self):
        """The offset of each key that sounds, as it is heard."""
        return {key: pitch - 100 * key for (_, key), pitch in self.sounding.items()}


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "channel-tuning"])
def test_a_chord_is_just_over_a_bass_at_equal_temperament(name):
    """The fingers come 5 ms apart: what sounds already comes along while it may."""
    stage = Stage(name, pull=0)
    stage.strike(48, 55, 64, wait=0.005)

    assert stage.offsets[48] == pytest.approx(0, abs=0.05)
    assert stage.offsets[64] == pytest.approx(THIRD, abs=0.05)
    assert stage.offsets[55] == pytest.approx(FIFTH, abs=0.05)


def test_a_wheel_goes_on_top():
    stage = Stage(pull=0)
    stage.play(0xE0, 0, 96)  # half way up: a semitone, as its range is two
    stage.strike(48, 55)

    assert stage.offsets[48] == pytest.approx(100, abs=0.1)
    assert stage.offsets[55] == pytest.approx(100 + FIFTH, abs=0.1)


def test_a_note_held_by_the_pedal_leads_and_one_that_was_let_go_does_not():
    stage = Stage(pull=0)
    stage.strike(48, 64)  # C and E
    stage.play(0xB0, 64, 127)
    stage.lift(64)
    assert len(stage.follower.cents) == 2
    stage.play(0xB0, 64, 0)
    assert len(stage.follower.cents) == 1


def test_a_note_that_took_a_channel_that_rings_stays_where_it_began():
    """With a channel for each pitch class an octave sounds where the last note rings: both would move."""
    stage = Stage("twelve-channel-bend", pull=0)
    stage.strike(64)
    stage.lift(64)
    stage.strike(76, wait=0.1)
    stage.strike(60, wait=0.005)

    assert stage.offsets[76] == pytest.approx(0, abs=0.01)
    assert stage.offsets[60] == pytest.approx(-THIRD, abs=20), "so C comes to it, as far as a bass may"
    assert stage.offsets[60] > 3


def test_the_steel_leads():
    """All strings of the state, where they sound: E9 open, tuned in just intonation."""
    rig, _ = rig_asked_for("e9-ten-string", "five-limit-just", None, None, None)
    strings = strings_of_rig(rig, Hands())
    heard = [nearest_key(tone.hz, rig.reference_hz) for tone in rig.every_string(Hands())]

    assert strings == tuple((int(key), pytest.approx(float(cents))) for key, cents in heard)
    with_a = strings_of_rig(rig, Hands(travels={"A": 1.0}))
    assert sum(one != other for one, other in zip(strings, with_a, strict=True)) == 2, "A raises two strings"
    stage = Stage()
    stage.rotation.led_by(strings)
    string_key, cents = strings[3]
    stage.strike(string_key + 12)

    assert stage.offsets[string_key + 12] == pytest.approx(cents, abs=0.05)


def test_another_song_moves_nothing_that_sounds():
    stage = Stage()
    stage.strike(60, 64, wait=1)
    before = stage.sounding
    stage.rotation.retune(plan(MEANTONE, receiver("mpe")))

    assert stage.sounding == before
    stage.lift(60, 64)
    stage.strike(61, wait=5)
    assert stage.offsets[61] == pytest.approx(float(MEANTONE.key_cents[61]), abs=0.05)


def test_a_reset_forgets():
    stage = Stage()
    stage.strike(60, 64)
    stage.play(0xFF)
    assert stage.follower.cents == {}
    stage.strike(64)
    assert len(stage.follower.cents) == 1


def random_message(rng, stage):
    kind = rng.random()
    if kind < 0.45:
        return 0x90, rng.randrange(40, 76), 80
    if kind < 0.8:
        return 0x80, rng.randrange(40, 76), 64
    if kind < 0.97:
        return 0xB0, rng.choice((64, 66)), rng.choice((0, 127))
    return 0xB0, rng.choice((120, 121, 123)), 0


@pytest.mark.parametrize("name", RECEIVERS)
@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_played_nothing_settled_moves_and_nothing_hangs(name, seed):
    """Keys, both pedals, resets: what has sounded for 30 ms stays; what is given is what is heard."""
    rng = random.Random(seed)
    stage = Stage(name)
    since = {}
    for _ in range(600):
        before = stage.sounding
        if rng.random() < 0.01:
            stage.rotation.retune(plan(rng.choice((EQUAL, MEANTONE)), receiver(name)))
        stage.play(*random_message(rng, stage), wait=rng.choice((0, 0.004, 0.02, 0.3, 3)))
        sounding = stage.sounding
        for one in sounding:
            since.setdefault(one, stage.now)
        for one in set(since) - set(sounding):
            del since[one]
        if stage.listener.log[-1][0] & 0xF0 == 0x90 and stage.listener.log[-1][2]:
            channel, key, _ = stage.listener.struck[-1]
            since[channel, key] = stage.now
        settled = {one for one in before if one in sounding and stage.now - since[one] > SETTLED}
        assert {one: sounding[one] for one in settled} == pytest.approx(
            {one: before[one] for one in settled}, abs=1e-9
        )
        heard = sorted(pitch - 100 * key for (_, key), pitch in sounding.items())
        assert heard == pytest.approx(sorted(stage.follower.cents.values()), abs=0.03)

    stage.rotation.finish(stage.now)
    assert stage.listener.sounding() == set()
    assert stage.follower.cents == {}


def test_the_same_playing_gives_the_same_bytes():
    logs = []
    for _ in range(2):
        rng, stage = random.Random(9), Stage()
        for _ in range(500):
            stage.play(*random_message(rng, stage), wait=rng.choice((0, 0.01, 0.5)))
        logs.append(stage.listener.log)

    assert logs[0] == logs[1]


def test_through_the_real_path():
    listener = Listener()
    made = plan(EQUAL, receiver("mpe"))
    follower = ChordFollower(ChordFollowing(pull=0), EQUAL.key_cents.tolist())
    through = PlayedThrough(made, listener.send, follower=follower)
    for message in made.messages:
        listener.send(message)
    through.led_by([(64, -10.0)])
    through.receive(bytes((0x90, 68, 80)))

    [(_, key, pitch)] = listener.struck
    assert pitch - 100 * key == pytest.approx(-10 + THIRD + 3.686, abs=0.05), "20 cents at most"
    through.close()


@pytest.mark.parametrize("name", ["mts-octave", "mts-single-note", "mts-bulk", "osc-per-note"])
def test_receivers_that_cannot_are_refused(name):
    with pytest.raises(BadValue, match="cannot follow the chord as you play; choose one with bends"):
        check_follows(plan(EQUAL, receiver(name)), ChordFollowing())


def test_a_bend_range_that_cannot_hold_the_most_is_refused():
    wide = scale_of_classes("wide", [0.0] * 11 + [295.0])  # bends reach 300 cents

    with pytest.raises(BadValue, match="B"):
        check_follows(plan(wide, receiver("mpe")), ChordFollowing())
