"""Keys that follow the chord: the offsets against a second solver, and what a player may rely on."""

from itertools import combinations, pairwise
from math import log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from scipy.optimize import lsq_linear

from tonegen.errors import BadValue
from tonegen.keys.chords import MOST_SOLVED, ChordFollower, ChordFollowing, least

EQUAL = [0.0] * 128
FREE = ChordFollowing(bass=0, pull=0, memory=0, most_cents=1200, step_cents=1200)  # nothing but what is held


def beyond(upper, lower, semitones):
    return 1200 * log2(upper / lower) - 100 * semitones


# Just intonation of five limits; the same ratios as in Helmholtz, On the Sensations of Tone (1885), App. XX.
ONE = {
    0: beyond(1, 1, 0), 1: beyond(16, 15, 1), 3: beyond(6, 5, 3), 4: beyond(5, 4, 4), 5: beyond(4, 3, 5),
    7: beyond(3, 2, 7), 8: beyond(8, 5, 8), 9: beyond(5, 3, 9), 11: beyond(15, 8, 11),
}  # fmt: skip
EITHER = {
    2: (beyond(9, 8, 2), beyond(10, 9, 2)), 6: (beyond(45, 32, 6), beyond(64, 45, 6)),
    10: (beyond(9, 5, 10), beyond(16, 9, 10)),
}  # fmt: skip


def by_scipy(keys, still, hold, towards, low, high):
    """The same sum as rows of a bounded least squares problem, for the solver of a general library."""
    moving = len(hold)

    def solved(open_cents):
        rows, right = [], []
        for one in range(moving):
            for other in range(len(keys)):
                if other <= one < moving and other < moving:
                    continue
                upper, lower = (one, other) if keys[one] >= keys[other] else (other, one)
                semitones = (keys[upper] - keys[lower]) % 12
                if semitones in EITHER and open_cents is None:
                    continue
                weight = 4 if semitones == 0 else 1 if semitones in (3, 4, 5, 7, 8, 9) else 0.1
                wanted = ONE[semitones] if semitones in ONE else open_cents(upper, lower, EITHER[semitones])
                row = np.zeros(moving)
                for place, sign in ((upper, 1), (lower, -1)):
                    if place < moving:
                        row[place] += sign
                    else:
                        wanted -= sign * still[place - moving]
                rows.append(row * weight**0.5)
                right.append(wanted * weight**0.5)
        for place in range(moving):
            rows.append(np.eye(moving)[place] * hold[place] ** 0.5)
            right.append(towards[place] * hold[place] ** 0.5)
        return lsq_linear(np.array(rows), right, (low, high), method="bvls", tol=1e-15, max_iter=1000).x

    first = [*solved(None), *still]

    def nearer(upper, lower, two):  # the first of two that are as near
        return min(two, key=lambda cents: round(abs(first[upper] - first[lower] - cents), 8))

    return solved(nearer)


@st.composite
def any_notes(draw):
    count = draw(st.integers(1, MOST_SOLVED))
    moving = draw(st.integers(1, count))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    keys = rng.integers(*draw(st.sampled_from([(0, 128), (48, 72), (60, 64)])), count).tolist()
    low = rng.uniform(-20, 5, moving)
    hold = rng.choice([0.05, 0.2, 0.31, 1.1], moving)
    return (
        keys, rng.uniform(-50, 50, count - moving).tolist(), hold.tolist(),
        rng.uniform(-15, 15, moving).tolist(), low.tolist(),
        (low + rng.choice([1e-3, 1, 12, 24, 40], moving)).tolist(),
    )  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(any_notes())
def test_the_optimum_is_that_of_a_second_solver(notes):
    assert least(*notes) == pytest.approx(by_scipy(*notes), rel=0, abs=1e-6)


def follower(master=EQUAL, **said):
    return ChordFollower(ChordFollowing(**said), master)


def chord(*keys):
    return [(key, key) for key in keys]


def test_a_triad_alone_is_just_and_its_bass_is_where_the_bass_player_is():
    """A pull of nothing but the bass: pure to the hundredth of a cent."""
    given_ = follower(pull=0).strike(chord(48, 60, 64, 67), 0)

    assert given_[48] == pytest.approx(0, abs=1e-4)
    assert given_[60] == pytest.approx(0, abs=1e-4)
    assert given_[64] == pytest.approx(beyond(5, 4, 4), abs=1e-4)
    assert given_[67] == pytest.approx(beyond(3, 2, 7), abs=1e-4)


def test_a_held_note_stays_and_a_new_chord_comes_to_it():
    keys = follower(pull=0)
    keys.strike(chord(60, 64, 67), 0)  # C major, then A minor: its fifth is the third of C
    held = keys.cents[64]
    keys.release(60, 1)
    keys.release(67, 1)
    given_ = keys.strike(chord(57, 72), 1)

    assert set(given_) == {57, 72}
    assert keys.cents[64] == held
    assert held - beyond(3, 2, 7) < given_[57] < 0, "between what E asks and where the bass player is"


def test_octaves_of_a_held_note_follow_it():
    keys = follower()
    keys.strike(chord(60, 64), 0)

    assert keys.strike(chord(40, 76, 83), 1)[76] == keys.cents[64]
    assert keys.cents[40] == keys.cents[64]


def test_octaves_follow_the_nearest_tone_of_the_steel():
    """Two strings may stand apart on one note."""
    steel = [(54, -13.0), (75, 3.0), (90, -9.0), (99, 5.0)]  # F sharp twice, E flat twice
    given_ = follower().strike(chord(78, 87), 0, steel)

    assert given_ == {78: -9, 87: 3}, "where both are as near, the lower"


def test_tones_of_others_lead():
    """The steel's fifth and third, far from equal, and a keyboard's bass an octave of neither."""
    steel = [(64, -18.0), (71, -16.0)]  # E and B
    given_ = follower(pull=0.05, most_cents=40).strike(chord(68), 0, steel)

    asked = -18 + beyond(5, 4, 4), -16 - beyond(6, 5, 3)  # a third above E, a third below B
    assert given_[68] == pytest.approx(sum(asked) / 2.05, abs=1e-9), "and a little of its own"


def test_a_chord_spread_over_thirty_milliseconds_ends_as_if_struck_at_once():
    spread, at_once = follower(), follower()
    for place, key in enumerate((48, 55, 64, 70)):
        spread.strike(chord(key), 0.01 * place)
    at_once.strike(chord(48, 55, 64, 70), 0)

    assert spread.cents == pytest.approx(at_once.cents, rel=0, abs=1e-9)
    late = spread.strike(chord(76), 0.0401)
    assert set(late) == {64, 70, 76}, "what began more than 30 ms ago stays"


def test_a_key_struck_again_stays_near_and_is_free_after_a_while():
    for pause, near in ((1.9, True), (2.1, False)):
        keys = follower(memory=0, pull=0, most_cents=40)
        keys.strike(chord(64), 0, [(61, -20.0)])
        low = keys.cents[64]
        keys.release(64, 1)
        high = keys.strike(chord(64), 1 + pause, [(61, 20.0)])[64]

        assert low == pytest.approx(-20 + beyond(6, 5, 3), abs=1)
        assert high - low == pytest.approx(12 if near else 40, abs=1e-4)


def test_memory_holds_a_class_to_where_it_was_and_fades():
    moved = []
    for pause in (0.0, 1.0, 4.0):
        keys = follower(pull=0.05, memory=1)
        keys.strike(chord(64), 0, [(60, 0.0)])  # a third above C
        keys.release(64, 1)
        moved.append(keys.strike(chord(76), 1 + pause, [(69, 0.0)])[76])  # a fifth above A

    assert moved == sorted(moved)
    assert moved[0] < -4 < 0 < moved[2]


def turn(chords):
    """A progression played with every common tone held; where its first note stands in the end."""
    keys = ChordFollower(FREE, EQUAL)
    sounding = set()
    for now, struck in enumerate(chords):
        for key in sounding - set(struck):
            keys.release(key, now)
        keys.strike(chord(*sorted(set(struck) - sounding)), now)
        sounding = set(struck)
    return keys.cents


@pytest.mark.parametrize(
    ("chords", "comma"),
    [
        pytest.param(
            [(60, 64, 67), (60, 64, 69), (62, 65, 69), (62, 67, 71), (60, 64, 67)], -1200 * log2(81 / 80),
            id="I vi ii V I falls by 81:80",
        ),
        pytest.param(
            [(60, 64, 67), (59, 64, 68), (60, 63, 68), (60, 64, 67)], -1200 * log2(128 / 125),
            id="three major thirds up fall by 128:125",
        ),
        pytest.param(
            [(60, 64, 67), (63, 67, 70), (61, 66, 70), (61, 64, 69), (60, 64, 67)], 1200 * log2(648 / 625),
            id="four minor thirds up rise by 648:625",
        ),
    ],
)  # fmt: skip
def test_held_tones_alone_drift_by_the_comma(chords, comma):
    """81:80 is 21.506 cents, 128:125 is 41.059, 648:625 is 62.565 (Helmholtz and Ellis, App. XX)."""
    begun = turn(chords[:1])

    assert turn(chords)[60] - begun[60] == pytest.approx(comma, abs=0.1)


def test_with_bass_and_bounds_nothing_drifts():
    """Twenty turns of I vi ii V I: the keyboard is still where the band is."""
    one = [(60, 64, 67), (60, 64, 69), (62, 65, 69), (62, 67, 71)]
    keys, sounding, now = follower(), set(), 0
    for struck in one * 20:
        for key in sounding - set(struck):
            keys.release(key, now)
        keys.strike(chord(*sorted(set(struck) - sounding)), now)
        sounding, now = set(struck), now + 1
        assert all(-20 <= cents <= 20 for cents in keys.cents.values())


def glided(keys, until, step=0.005, others=()):
    """Ask far more often than it moves: each step with its time."""
    steps, now = [], keys._now
    while now < until:
        now += step
        if moved := keys.glide(now, others):
            steps.append((now, moved))
    return steps


def off_place(glide=5.0, most=4.0, **said):
    """A held E that an A minor left high, and a C major that is struck below it."""
    keys = follower(glide_cents_per_second=glide, glide_most_cents=most, pull=0.05, memory=0, **said)
    keys.strike(chord(57, 64), 0)
    keys.release(57, 1)
    keys.strike(chord(48), 1)
    return keys


def test_held_notes_glide_slowly_to_where_the_chord_would_have_them():
    """C and E: the third is wide until the bass, which came to the held E, is back with the bass player."""
    keys = off_place()
    before = keys.cents
    steps = glided(keys, 3)

    for (then, _), (now, _) in pairwise(steps):
        assert now - then >= 0.02 - 1e-9
    last, was = before, 1.03
    for now, moved in steps:
        assert max(abs(moved[voice] - last[voice]) for voice in moved) <= 5 * (now - was) + 1e-9
        last, was = moved, now
    for voice, cents in keys.cents.items():
        assert abs(cents - before[voice]) <= 4 + 1e-9
    apart = [abs(some[64] - some[48] - beyond(5, 4, 4)) for some in (before, keys.cents)]
    assert apart[1] < apart[0]
    assert keys.glides_at is None, "it has arrived"


def test_all_that_glides_arrives_together():
    """On the straight way, so that no interval is worse on it than at both its ends."""
    keys = off_place(most=20)
    before = keys.cents
    steps = glided(keys, 20)
    after = keys.cents
    best = follower(memory=0).strike(chord(48, 64), 0)

    assert after == pytest.approx(best, abs=1e-6), "as if they had been struck now"
    for _, moved in steps:
        shares = [(moved[voice] - before[voice]) / (after[voice] - before[voice]) for voice in moved]
        assert max(shares) - min(shares) < 1e-6


def test_nothing_glides_unless_it_is_asked_for_nor_while_a_note_may_still_move():
    keys = off_place(glide=0.0)
    assert glided(keys, 5) == []
    assert keys.glides_at is None
    keys = off_place()
    assert keys.glides_at == pytest.approx(1.03)
    assert keys.glide(1.02) == {}


def test_who_comes_late_to_a_step_makes_no_jump_of_it():
    keys = off_place()
    before = keys.cents
    keys.glide(1.05)
    keys.glide(9)

    assert 0 < max(abs(cents - before[voice]) for voice, cents in keys.cents.items()) <= 0.2 + 1e-9


def test_a_note_that_shares_its_channel_does_not_glide():
    keys = off_place()
    keys.hold(48)

    assert {voice for _, moved in glided(keys, 3) for voice in moved} == {64}


def test_held_keys_glide_after_the_steel():
    """A pedal raises the string under a held key: 4 cents of it can be had."""
    keys = follower(glide_cents_per_second=5, pull=0.05)
    keys.strike(chord(64), 0, [(60, 0.0)])
    glided(keys, 2, others=[(60, 0.0)])
    begun = keys.cents[64]
    keys.look_again()
    glided(keys, 5, others=[(60, 10.0)])

    assert keys.cents[64] == pytest.approx(begun + 4, abs=0.01)
    keys.look_again()
    glided(keys, 8, others=[(60, 20.0)])
    assert keys.cents[64] == pytest.approx(begun + 4, abs=0.01), "in all, however often it sets out"


def test_a_glide_of_two_cents_a_second_leaves_less_where_held_notes_pump_a_comma():
    """I vi ii V I with its common tones held, over and over, two seconds a chord."""
    one = [(48, 60, 64, 67), (45, 60, 64, 69), (50, 62, 65, 69), (43, 62, 67, 71)]
    left = []
    for glide in (0, 2):
        keys, sounding, now, total = follower(glide_cents_per_second=glide), set(), 0.0, 0.0
        for struck in one * 6:
            for key in sounding - set(struck):
                keys.release(key, now)
            keys.strike(chord(*sorted(set(struck) - sounding)), now)
            sounding = set(struck)
            for _ in range(100):
                now += 0.02
                keys.glide(now)
                total += sum(
                    abs(keys.cents[high] - keys.cents[low] - ONE[(high - low) % 12])
                    for low, high in combinations(struck, 2) if (high - low) % 12 in (3, 4, 5, 7, 8, 9)
                )  # fmt: skip
        left.append(total)

    assert left[1] < left[0]


def test_of_128_held_notes_the_nearest_are_solved():
    """All keys down; one is struck again. What is far, such as the steel's lowest tone, has no say."""
    keys = follower()
    keys.strike(chord(*range(128)), 0)
    assert keys.crowded
    before = keys.cents
    given_ = keys.strike([(128, 60)], 10)

    assert given_ == {128: before[60]}
    assert keys.cents == {**before, 128: before[60]}

    far, near = follower(pull=0), follower(pull=0)
    others = [(key, 30.0) for key in range(50, 70) if key % 12]
    assert near.strike(chord(60), 0, others) == far.strike(chord(60), 0, [*others, (4, -50.0)])
    assert far.crowded


def test_a_key_struck_twice_ended_before():
    keys = follower()
    keys.strike(chord(60, 64), 0)
    again = keys.strike(chord(64), 1)

    assert set(again) == {64}
    assert set(keys.cents) == {60, 64}


def test_what_is_forgotten_holds_nothing_back():
    keys = follower(memory=1)
    keys.strike(chord(64), 0, [(60, 0.0)])
    keys.forget()

    assert keys.cents == {}
    assert keys.strike(chord(64), 0.5) == {64: 0.0}


def test_a_note_that_may_not_move_is_held():
    keys = follower()
    keys.strike(chord(60), 0)
    keys.hold(60)

    assert set(keys.strike(chord(64), 0)) == {64}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"pull": -1}, "pull is -1; give 0 or more"),
        ({"most_cents": float("inf")}, "most_cents is inf; give 0 or more"),
        ({"step_cents": float("nan")}, "step_cents is nan; give 0 or more"),
        ({"fade_seconds": 0}, "fade_seconds is 0; give more than 0"),
    ],
)
def test_settings_that_mean_nothing_are_refused(said, words):
    with pytest.raises(BadValue, match=f"^{words}$"):
        ChordFollowing(**said)


def test_time_keys_tones_and_masters_are_checked():
    keys = follower()
    keys.strike(chord(60), 1)
    with pytest.raises(BadValue, match=r"time runs backward, from 1 to 0\.5 seconds"):
        keys.strike(chord(64), 0.5)
    with pytest.raises(BadValue, match="time runs backward"):
        keys.release(60, float("nan"))
    with pytest.raises(BadValue, match="key 128 is not on the keyboard"):
        keys.strike(chord(128), 1)
    with pytest.raises(BadValue, match="a tone of others at key 60, nan cents, is not one"):
        keys.strike(chord(64), 1, [(60, float("nan"))])
    with pytest.raises(BadValue, match="a master needs a number of cents for each of 128 keys"):
        keys.retune([0.0] * 12)
    assert keys.cents == {60: 0.0}, "what was refused has not begun"


class AnyPlaying(RuleBasedStateMachine):
    """Notes, pedals that hold them, chords, the steel, songs, resets: whatever comes."""

    def __init__(self):
        super().__init__()
        self.keys, self.again = self.two()
        self.now, self.master = 0.0, EQUAL
        self.masters = {}
        self.begun = {}
        self.moved = None

    def two(self):
        return follower(), follower()

    @rule(seconds=st.sampled_from([0.0, 0.004, 0.03, 0.4, 3.0]))
    def wait(self, seconds):
        self.now += seconds

    @rule(
        struck=st.lists(st.integers(40, 76), min_size=1, max_size=20, unique=True),
        others=st.lists(st.tuples(st.integers(30, 80), st.floats(-50, 50)), max_size=10),
        player=st.integers(0, 1),
    )
    def strike(self, struck, others, player):
        voices = [(player << 7 | key, key) for key in struck]
        held = {
            voice: cents
            for voice, cents in self.keys.cents.items()
            if self.now - self.begun[voice] > 0.0301 and voice not in dict(voices)
        }
        self.begun |= {voice: self.now for voice, _ in voices}
        self.masters |= {voice: self.master[key] for voice, key in voices}
        before = self.keys.cents
        moved = self.keys.strike(voices, self.now, others)

        assert moved == self.again.strike(voices, self.now, others), "the same input gives the same"
        assert {voice: self.keys.cents[voice] for voice in held} == held
        assert self.keys.cents == before | moved
        for voice, cents in moved.items():
            assert abs(cents - self.masters[voice]) <= 20 + 1e-9

    @rule(voice=st.integers(40, 76 + 128))
    def release(self, voice):
        self.keys.release(voice, self.now)
        self.again.release(voice, self.now)
        self.begun.pop(voice, None)

    @rule(offset=st.floats(-30, 30))
    def next_song(self, offset):
        self.master = [offset * (key % 3 - 1) for key in range(128)]
        self.keys.retune(self.master)
        self.again.retune(self.master)

    @rule()
    def reset(self):
        self.keys.forget()
        self.again.forget()
        self.begun = {}

    @invariant()
    def sounds_what_was_struck(self):
        assert set(self.keys.cents) == set(self.begun)


TestAnyPlaying = AnyPlaying.TestCase
TestAnyPlaying.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)


class AnyGliding(AnyPlaying):
    """The same where held notes glide: no faster, no farther, no more often than was asked for."""

    def two(self):
        self.struck_at, self.stepped_at = {}, float("-inf")
        return tuple(follower(glide_cents_per_second=5, glide_most_cents=4) for _ in range(2))

    @rule(seconds=st.sampled_from([0.004, 0.02, 0.021, 0.5]))
    def glide(self, seconds):
        self.now += seconds
        before = self.keys.cents
        moved = self.keys.glide(self.now)

        assert moved == self.again.glide(self.now)
        assert self.keys.cents == before | moved
        if moved:
            assert self.now - self.stepped_at >= 0.02 - 1e-9
            self.stepped_at = self.now
        for voice, cents in moved.items():
            assert self.now - self.begun[voice] >= 0.03
            assert abs(cents - before[voice]) <= 5 * 0.04 + 1e-9
            assert (
                abs(cents - self.struck_at.setdefault((voice, self.begun[voice]), before[voice])) <= 4 + 1e-9
            )
            assert abs(cents - self.masters[voice]) <= 20 + 1e-9


TestAnyGliding = AnyGliding.TestCase
TestAnyGliding.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
