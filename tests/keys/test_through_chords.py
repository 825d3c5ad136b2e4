"""Keys that follow the chord as they are played: what a receiver hears, whatever comes."""

import random
from threading import Event

import pytest
from msgspec.structs import replace

from tests.keys.listener import Listener
from tests.keys.player import Player
from tests.keys.rig import ONE, Through
from tonegen import presets
from tonegen.errors import BadValue
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.desk import Desk
from tonegen.keys.leads import check_follows, follower_of
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation
from tonegen.keys.scale import scale_of_classes, scale_of_temperament, strings_of_rig
from tonegen.pitch import nearest_key
from tonegen.setlist.records import Lead
from tonegen.setup.context import rig_asked_for
from tonegen.setup.setting import Hands

EQUAL = scale_of_temperament(presets.temperament("equal"))
MEANTONE = scale_of_temperament(presets.temperament("quarter-comma-meantone"))
RECEIVERS = ("mpe", "twelve-channel-bend", "mono-bend", "channel-tuning")
THIRD, FIFTH = -13.686, 1.955  # of 5:4 and 3:2 from equal temperament
SETTLED = 0.0301


class Stage(Player):
    """A player, the rotation that follows, and a receiver that hears it."""

    def __init__(self, name="mpe", scale=EQUAL, own_cents=None, **said):
        made = plan(scale, replace(receiver(name), own_cents=own_cents or {}))
        self.listener = Listener()
        for message in made.messages:
            self.listener.send(message)
        self.follower = ChordFollower(ChordFollowing(**said), scale.key_cents.tolist())
        self.rotation = Rotation(made, self.listener.send)
        self.rotation.follow(self.follower)
        super().__init__(self.rotation.receive)

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


def test_a_band_at_442_is_followed_there():
    """On a receiver at 440: 1200 log2(442/440) is 7.85 cents."""
    stage = Stage(scale=scale_of_temperament(presets.temperament("equal"), 442.0), pull=0)
    stage.strike(48, 55)

    assert stage.offsets[48] == pytest.approx(7.85, abs=0.1)
    assert stage.offsets[55] == pytest.approx(7.85 + FIFTH, abs=0.1)


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_what_a_receiver_plays_off_by_itself_is_taken_back_also_when_a_note_comes_along(name):
    """Its E is 12 cents high: 12 less are sent, at first and when G and C come 5 ms later."""
    high = {str(key): 12.0 for key in range(4, 128, 12)}
    as_it_is, taken_back = Stage(name, pull=0), Stage(name, pull=0, own_cents=high)
    for stage in (as_it_is, taken_back):
        stage.strike(64, 67, 48, wait=0.005)

    assert as_it_is.offsets[64] == pytest.approx(THIRD, abs=0.05)
    assert taken_back.offsets == pytest.approx({**as_it_is.offsets, 64: as_it_is.offsets[64] - 12}, abs=0.05)


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


def test_a_note_that_gives_way_has_no_say_any_more():
    """Fifteen channels, fifteen keys: the oldest but the lowest is ended before the next one is solved."""
    stage, keys = Stage(), [36, 64, 41, 42, 44, 45, 46, 47, 48, 49, 50, 51, 52, 53, 54]
    stage.strike(*keys, wait=0.1)
    without = ChordFollower(ChordFollowing(), [0.0] * 128)
    for place, key in enumerate(keys):
        without.strike([(place, key)], 0.1 * place)
    without.release(1, 1.5)
    stage.strike(67, wait=0.1)

    assert 64 not in stage.offsets
    assert stage.offsets[67] == pytest.approx(without.strike([(99, 67)], 1.5)[99], abs=0.3)


def test_another_song_moves_nothing_that_sounds():
    stage = Stage()
    stage.strike(60, 64, wait=1)
    before = stage.sounding
    stage.rotation.retune(plan(MEANTONE, receiver("mpe")))

    assert stage.sounding == before
    stage.lift(60, 64)
    stage.strike(61, wait=5)
    assert stage.offsets[61] == pytest.approx(float(MEANTONE.key_cents[61]), abs=0.05)


@pytest.mark.parametrize("lead", [Lead.BASS, Lead.SONG])
@pytest.mark.parametrize("name", ["mpe", "mts-single-note", "mts-octave", "osc-per-note"])
def test_what_a_controller_chooses_is_for_keys_that_follow_the_song(name, lead):
    """A temperament and its root by OSC, in mid-song; who follows the bass stays with it, at equal."""
    desk = Desk({ONE: receiver(name)})
    (made,) = desk.plans().values()
    follower = follower_of(made, lead)
    through = Through(made, lambda message: None, follower=follower)
    desk.changed = through.playing.retune
    desk.temperament("quarter-comma-meantone", "D")
    through.receive(bytes((0x90, 61, 80)))
    chosen = float(desk.plans()[ONE].scale.key_cents[61])

    assert chosen < -15
    assert list(follower.cents.values()) == [pytest.approx(0 if lead is Lead.BASS else chosen, abs=1e-9)]
    through.close()


def test_a_reset_forgets():
    stage = Stage()
    stage.strike(60, 64)
    stage.play(0xFF)
    assert stage.follower.cents == {}
    stage.strike(64)
    assert len(stage.follower.cents) == 1


def test_held_notes_glide_by_bends_each_on_its_channel():
    """Asked far more often than they move: a bend for each channel at most each 20 ms, and 4 cents in all."""
    stage = Stage(glide_cents_per_second=5.0, memory=0)
    stage.strike(57, 64)
    stage.play(0x80, 57, 64, wait=1)
    stage.strike(48)
    before, bends = stage.sounding, {}
    for _ in range(400):
        stage.now += 0.005
        count = len(stage.listener.log)
        stage.rotation.glide(stage.now)
        for message in stage.listener.log[count:]:
            assert message[0] & 0xF0 == 0xE0
            assert stage.now - bends.get(message[0], 0) >= 0.02 - 1e-9
            bends[message[0]] = stage.now
    moved = {one: abs(pitch - before[one]) for one, pitch in stage.sounding.items()}

    assert len(bends) == 2
    assert 3.3 < max(moved.values()) <= 4 + 0.3, "in steps of 0.6 cents, which the bends have"
    assert stage.rotation.glide(stage.now) is None


def test_channel_tuning_does_not_glide():
    with pytest.raises(BadValue, match="notes glide by bends, which this receiver has not; choose another"):
        check_follows(
            plan(EQUAL, receiver("channel-tuning")), Lead.BASS, ChordFollowing(glide_cents_per_second=5)
        )


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
    assert stage.rotation._out._in_chord == {}


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
    through = Through(made, listener.send, follower=follower)
    for message in made.messages:
        listener.send(message)
    through.led_by([(64, -10.0)])
    through.receive(bytes((0x90, 68, 80)))

    [(_, key, pitch)] = listener.struck
    assert pitch - 100 * key == pytest.approx(-10 + THIRD + 3.686, abs=0.05), "20 cents at most"
    through.close()


def test_a_glide_goes_on_by_itself_and_ends():
    """Nothing is played any more: the bends come all the same, until the chord is where it is to be."""
    made, listener, arrived = plan(EQUAL, receiver("mpe")), Listener(), Event()
    for message in made.messages:
        listener.send(message)
    bends = []

    def send(message):
        listener.send(message)
        if message[0] & 0xF0 == 0xE0:
            bends.append(message)
            if len(bends) == 5:
                arrived.set()

    following = ChordFollowing(glide_cents_per_second=100, glide_most_cents=15, most_cents=30, memory=0)
    follower = ChordFollower(following, EQUAL.key_cents.tolist())
    through = Through(made, send, follower=follower)
    through.led_by([(60, 20.0)])
    through.receive(bytes((0x90, 64, 80)))
    through.led_by([(60, 0.0)])

    assert arrived.wait(60)
    through.close()
    assert follower.cents == {}


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("mts-bulk", "a dump of all keys cannot follow the chord as you play; choose a receiver with bends"),
        ("osc-per-key", "is sent its tuning and no notes, so that it cannot follow the chord"),
    ],
)
def test_receivers_that_cannot_are_refused(name, says):
    with pytest.raises(BadValue, match=says):
        check_follows(plan(EQUAL, receiver(name)), Lead.BASS, ChordFollowing())


def test_a_bend_range_that_cannot_hold_the_most_is_refused():
    wide = scale_of_classes("wide", [0.0] * 11 + [295.0])  # bends reach 300 cents

    with pytest.raises(BadValue, match="B"):
        check_follows(plan(wide, receiver("mpe")), Lead.SONG, ChordFollowing())
