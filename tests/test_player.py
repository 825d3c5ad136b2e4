"""The player: beats as computed, no click, no clipping, and commands from any thread."""

import threading
import tracemalloc
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure import beat_of, hz_of, phase_turns_of, splash_db, turns_apart
from tonegen.errors import BadValue
from tonegen.interval import Ratio, beats_per_second
from tonegen.pitch import cents_between
from tonegen.synthesis.bank import DEVICE_COLUMNS, FILE_COLUMNS
from tonegen.synthesis.player import CEILING_DBFS, HEARING_CAUTION, QUIET_LEVEL_DBFS, Player
from tonegen.synthesis.timbre import Place, Timbre, Tone, beating_only

RATE = 48000
HARMONIC = Timbre.sloped(12, -4.0)
PLUCKED = Timbre.sloped(8, -4.0, decay_db_per_second=12.0)
QUIET = 10 ** (QUIET_LEVEL_DBFS / 20)


def pulled(player, seconds, block=4800):
    """The next `seconds` of sound, frames x channels."""
    frames = round(seconds * player.sample_rate)
    out = np.empty((frames, player.channels), dtype=np.float32)
    for start in range(0, frames, block):
        player.pull(out[start : start + block])
    return out


def sounding(*tones, sample_rate=RATE, **settings_of_player):
    """A player whose first fade-in is over."""
    player = Player(sample_rate, **settings_of_player)
    player.set(tones)
    pulled(player, 0.5)
    return player


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "ratio"),
    [
        (220.0, 277.1826, "5:4"),
        (220.0, 275.6, "5:4"),
        (246.9417, 293.6648, "6:5"),
        (207.6523, 329.6276, "8:5"),
        (110.0, 164.8138, "3:2"),
    ],
)
def test_a_rendered_minute_beats_as_computed(low_hz, high_hz, ratio):
    """Equal-tempered thirds, a sixth and a fifth, and a third that is nearly pure."""
    ratio = Ratio.parse(ratio)
    player = sounding(Tone(low_hz, HARMONIC), Tone(high_hz, HARMONIC), channels=1, columns=FILE_COLUMNS)

    measured = beat_of(pulled(player, 60, 48_000)[:, 0], RATE, ratio.upper * low_hz, width_hz=30)

    assert measured == pytest.approx(abs(beats_per_second(low_hz, high_hz, ratio)), abs=0.001)


def test_after_an_hour_of_pulling_the_phase_agrees():
    """A whole hour in 240 long blocks; the last second is measured, 3599 seconds after the start."""
    hz = (442.0123, 661.5)
    player = Player(RATE, channels=1, columns=FILE_COLUMNS)
    player.set([Tone(hz[0]), Tone(hz[1])])
    block = np.empty((15 * RATE, 1), dtype=np.float32)
    for _ in range(240):
        player.pull(block)

    last = block[-RATE:, 0].astype(np.float64)

    for one, other in (hz, hz[::-1]):
        assert turns_apart(phase_turns_of(last, RATE, one, [other]), one * 3599 % 1) < 1e-6


# No click. A pure tone, or tones of few partials, lie below 2 kHz; a click splashes far above.

FADE, LOW, HIGH = 0.05, Tone(220.0, HARMONIC, name="low"), Tone(275.6, HARMONIC, name="high")


def start(player):
    player.set([LOW, HIGH])


def stop(player):
    player.stop(FADE)


def louder(player):
    player.level(-12.0)


def silence(player):
    player.mute(True)


def glide(player):
    player.glide({"low": 233.0, "high": 261.0}, 0.3)


def swap_tones(player):
    player.set([Tone(330.0, HARMONIC, name="new"), HIGH])


def swap_timbre(player):
    player.set([Tone(220.0, Timbre((1, 2.02), (1, 2)), name="low"), HIGH])


def move_left(player):
    player.set([Tone(220.0, HARMONIC, place=Place.LEFT, name="low"), HIGH])


def only_the_pair(player):
    player.set(beating_only([LOW, HIGH], [(0, 1, Ratio(5, 4))]))


def pick(player):
    player.set([Tone(220.0, PLUCKED, name="low"), HIGH])


CHANGES = [start, stop, louder, silence, glide, swap_tones, swap_timbre, move_left, only_the_pair, pick]


PAIRS = [(a, b) for a in CHANGES[1:] for b in CHANGES if not (b is glide and a in (stop, swap_tones))]


def cut_at_crests(before, after):
    """The same change done badly: from a crest of what was, at once to where what comes is furthest away."""
    last = len(before) - 480 + int(np.abs(before[-480:]).argmax())
    settled = after[-9600:]
    first = int(np.abs(settled[:480] - before[last]).argmax())
    return np.concatenate([before[:last], settled[first:]])


@pytest.mark.parametrize("change", CHANGES)
def test_no_change_clicks(change):
    """Above 6 kHz nothing splashes to within 110 dB of the level; the same change cut hard does, by far."""
    player = sounding(*([] if change is start else [LOW, HIGH]))
    before = pulled(player, 0.2)
    change(player)
    after = pulled(player, 0.6)

    for channel in range(2):
        sound = np.concatenate([before, after])[:, channel]
        assert splash_db(sound, RATE, 6000) < QUIET_LEVEL_DBFS - 110
    hard = cut_at_crests(before[:, 1], after[:, 1])
    assert splash_db(hard, RATE, 6000) > QUIET_LEVEL_DBFS - 60


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_a_change_within_a_change_does_not_click(first, second):
    """The second comes 13 ms after the first, and a third after it."""
    player = sounding(LOW, HIGH)
    pieces = [pulled(player, 0.1)]
    for change in (first, second, louder):
        change(player)
        pieces.append(pulled(player, 0.013, 128))
    pieces.append(pulled(player, 0.4))

    assert splash_db(np.concatenate(pieces)[:, 0], RATE, 6000) < QUIET_LEVEL_DBFS - 95


def test_it_starts_quietly_and_fades_in():
    player = Player(RATE)
    player.set([LOW])
    sound = np.abs(pulled(player, 2.0)[:, 0])

    tenths = [piece.max() for piece in np.split(sound, 20)]
    assert tenths[0] < 0.2 * tenths[-1]
    assert all(later > earlier for earlier, later in pairwise(tenths[:5]))
    assert sound.max() <= QUIET


def test_a_glide_keeps_phase_and_moves_evenly_in_cents():
    player = sounding(Tone(220.0, name="a"), channels=1)
    reached = player.partial_phase_turns("a", 1)

    player.glide({"a": 440.0}, 2.0)
    sound = pulled(player, 3.0)[:, 0]

    assert turns_apart(phase_turns_of(sound[:48], RATE, 220.0), reached) < 0.002
    middle = sound[RATE - 1200 : RATE + 1200]  # an octave in two seconds: half an octave after one
    crossings = np.flatnonzero(np.diff(np.signbit(middle).astype(int)) == -1)
    hz = RATE * (len(crossings) - 1) / (crossings[-1] - crossings[0])
    assert cents_between(220 * 2**0.5, hz) == pytest.approx(0, abs=12)
    assert hz_of(sound[2 * RATE :], RATE, 440.0) == pytest.approx(440.0, abs=1e-4)
    exact = reached + 2.0 * 220.0 / np.log(2)  # the integral of 220 * 2^(t/2) over two seconds
    assert turns_apart(phase_turns_of(sound[2 * RATE :], RATE, 440.0), exact % 1) < 1e-5


def test_a_level_change_does_not_cut_a_glide_short():
    gliding, changed = (sounding(Tone(220.0, name="a"), channels=1) for _ in range(2))
    for player in (gliding, changed):
        player.glide({"a": 330.0}, 1.0)
        pulled(player, 0.3)
    changed.level(-30.0)

    plain, quieter = pulled(gliding, 1.5)[:, 0], pulled(changed, 1.5)[:, 0]

    assert quieter[4800:] * 10 ** (6 / 20) == pytest.approx(plain[4800:], abs=1e-6)


def test_what_is_stopped_in_a_glide_glides_on_while_it_fades():
    gliding, stopped = (sounding(Tone(220.0, name="a"), channels=1) for _ in range(2))
    for player in (gliding, stopped):
        player.glide({"a": 330.0}, 1.0)
        pulled(player, 0.3)
    stopped.stop(0.6)

    plain, fading = pulled(gliding, 0.6)[:, 0], pulled(stopped, 0.6)[:, 0]

    fade = 0.5 + 0.5 * np.cos(np.pi * np.arange(len(plain)) / len(plain))
    assert np.abs(fading - plain * fade).max() < 1e-6


def test_a_level_change_is_no_new_pick():
    picked, changed = Player(RATE, channels=1), Player(RATE, channels=1)
    for player in (picked, changed):
        player.set([Tone(220.0, PLUCKED, name="a")])
        pulled(player, 1.0)
    changed.level(-30.0)

    plain, quieter = pulled(picked, 1.0)[4800:, 0], pulled(changed, 1.0)[4800:, 0]

    assert np.abs(quieter * 10 ** (6 / 20) - plain).max() < 1e-6


def test_changes_in_quick_succession_do_not_pile_up():
    """A hundred sets of 192 new partials, one a block: fewer than eight of them are ever at work together."""
    player = Player(RATE, channels=1)
    block = np.empty((128, 1), dtype=np.float32)
    for n in range(100):
        player.set([Tone(50.0 + n + k, Timbre.sloped(64, -6.0), name=f"{n} {k}") for k in range(3)])
        player.pull(block)
        assert len(player._motion.ids) <= 2048 + 192
        assert len(player._commands) <= 1
    player.set([Tone(500.0, name="last")])
    pulled(player, 3.0, 128)  # the ramp under way, and the last one's rise; those between are passed over

    sound = pulled(player, 0.1)[:, 0]
    pairs = np.exp(2j * np.pi * 500 * np.arange(len(sound)) / RATE)
    alone = 2 * np.abs(np.mean(sound * pairs)) / np.sqrt(2)
    assert alone == pytest.approx(np.sqrt(np.mean(sound**2)), rel=1e-4)  # nothing but the last tone


def test_what_has_faded_out_is_forgotten():
    """A change at the very frame at which the one before it ends, again and again."""
    player = Player(RATE, channels=1)
    for n in range(20):
        player.set([Tone(200.0 + n, HARMONIC, name=str(n))], ramp_seconds=0.01, glide_seconds=0.01)
        pulled(player, 0.01, 480)

    assert len(player._motion.ids) == 2 * len(HARMONIC.multiples)


def test_blocks_of_any_size_make_the_same_sound():
    sounds = []
    for block in (1, 97, 128, 4800):
        player = Player(RATE)
        player.set([LOW, HIGH])
        pieces = [pulled(player, 0.05, block)]
        player.glide({"low": 200.0}, 0.06)
        pieces.append(pulled(player, 0.02, block))
        swap_tones(player)
        pieces.append(pulled(player, 0.11, block))
        sounds.append(np.concatenate(pieces))

    for sound in sounds[1:]:
        assert sound == pytest.approx(sounds[0], abs=1e-7)


def test_tones_stand_left_right_and_in_the_middle():
    tones = [
        Tone(300.0, place=Place.LEFT, name="l"),
        Tone(500.0, place=Place.RIGHT, name="r"),
        Tone(700.0, name="m"),
    ]
    left, right = pulled(sounding(*tones), 1.0).T

    def heard(channel):
        spectrum = np.abs(np.fft.rfft(channel * np.hanning(RATE)))
        return {hz for hz in (300, 500, 700) if spectrum[hz] > 100 * np.median(spectrum[100:1000])}

    assert heard(left) == {300, 700}
    assert heard(right) == {500, 700}
    assert heard(pulled(sounding(*tones, channels=1), 1.0)[:, 0]) == {300, 500, 700}


def test_only_the_pair_beats_at_the_same_level_as_in_the_whole():
    tones = [LOW, HIGH]
    whole = pulled(sounding(*tones, channels=1), 2.0)[:, 0]
    pair = pulled(sounding(*beating_only(tones, [(0, 1, Ratio(5, 4))]), channels=1), 2.0)[:, 0]

    spectra = [np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) for sound in (whole, pair)]
    for hz in (1100.0, 1102.4):
        near = slice(round(2 * hz) - 1, round(2 * hz) + 2)
        assert spectra[1][near].max() == pytest.approx(spectra[0][near].max(), rel=0.01)
    assert spectra[1][2 * 220] < 1e-4 * spectra[0][2 * 220]


def test_it_reaches_the_ceiling_and_never_exceeds_it():
    """Four cosines that start at their crests, through changes: the crest of the sum is the level itself."""
    crest = Timbre((1, 2, 3), (3, 2, 1), (0.25, 0.25, 0.25))
    player = Player(RATE, channels=1, level_dbfs=CEILING_DBFS)
    ceiling = 10 ** (CEILING_DBFS / 20)
    player.set([Tone(100.0 * n, crest, name=str(n)) for n in range(1, 5)])
    sound = pulled(player, 1.0)

    assert np.abs(sound).max() == pytest.approx(ceiling, rel=1e-4)
    assert np.abs(sound).max() <= ceiling * (1 + 1e-6)


tones_drawn = st.lists(
    st.builds(
        Tone,
        hz=st.floats(50, 5000),
        timbre=st.sampled_from([Timbre((1, 2), (1, 1), (0.25, 0.25)), Timbre((1,), (1,), (0.25,)), PLUCKED]),
        level=st.floats(0, 1),
        place=st.sampled_from(Place),
        name=st.sampled_from("abcd"),
    ),
    max_size=4,
    unique_by=lambda tone: tone.name,
)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(tones_drawn, st.floats(0.005, 0.05), st.floats(0.005, 0.1), st.integers(1, 1500)),
        min_size=1,
        max_size=6,
    )
)
def test_no_sequence_of_changes_exceeds_the_level(changes):
    player = Player(8000, level_dbfs=CEILING_DBFS)
    for tones, ramp_seconds, glide_seconds, frames in changes:
        player.set(tones, ramp_seconds=ramp_seconds, glide_seconds=glide_seconds)
        sound = pulled(player, frames / 8000, 128)

        assert np.isfinite(sound).all()
        assert np.abs(sound).max() <= 10 ** (CEILING_DBFS / 20) * (1 + 1e-6)


def test_a_glide_beyond_the_highest_partial_does_not_fold_back():
    """A tone of 3 partials glides from 1 to 12 kHz; its third is at 21.6 kHz after 85 % of the way."""
    timbre = Timbre((1, 2, 3), (1, 1, 1))
    player = sounding(Tone(1000.0, timbre, name="a"), channels=1)
    player.glide({"a": 12_000.0}, 0.5)
    moving, arrived = pulled(player, 0.5)[:, 0], pulled(player, 1.0)[:, 0]

    spectrum = np.abs(np.fft.rfft(arrived * np.hanning(RATE)))
    assert spectrum[11_990:12_010].max() > 1e4 * spectrum[1000:11_000].max()
    assert spectrum[23_000:].max() < 1e-3 * spectrum[11_990:12_010].max()
    assert splash_db(moving, RATE, 22_500) < QUIET_LEVEL_DBFS - 80


def test_a_glide_from_beyond_the_highest_partial_does_not_fold_back():
    """From 12 kHz down the third partial comes in at 21.6 kHz, after 0.1 s; folded, it is heard at once."""
    player = sounding(Tone(12_000.0, Timbre((1, 3), (1, 1)), name="a"), channels=1)
    player.glide({"a": 1000.0}, 0.5)

    sound = pulled(player, 0.1)[:, 0]

    assert splash_db(sound, RATE, 14_500) < QUIET_LEVEL_DBFS - 80


def test_a_phase_that_is_asked_for_is_the_phase_that_sounds():
    player = sounding(Tone(220.0, name="a"), channels=1)
    player.glide({"a": 247.0}, 0.1)
    pulled(player, 0.37)

    asked = player.partial_phase_turns("a", 1), player.partial_phase_turns("a", 1, player.frame + 1000)
    sound = pulled(player, 0.5)[:, 0]

    assert turns_apart(asked[0], phase_turns_of(sound, RATE, 247.0)) < 1e-6
    assert turns_apart(asked[1], phase_turns_of(sound[1000:], RATE, 247.0)) < 1e-6


def test_the_picture_of_the_beat_pulses_with_the_sound():
    """Around 1101 Hz the sound is loudest where the beat's phase is 0, and faintest at half a turn."""
    player = sounding(LOW, HIGH, channels=1)
    first = player.frame
    sound = pulled(player, 2.0)[:, 0]
    frames = np.arange(RATE // 4, 7 * RATE // 4, 480)

    spectrum = np.fft.fft(sound)
    spectrum[np.abs(np.fft.fftfreq(len(sound), 1 / RATE) - 1101.5) > 30] = 0
    loudness = np.abs(np.fft.ifft(spectrum))[frames]
    pulse = [player.beat_phase_turns("low", "high", Ratio(5, 4), first + int(at)) for at in frames]

    assert np.corrcoef(loudness**2, np.cos(2 * np.pi * np.array(pulse)))[0, 1] > 0.99


def test_the_picture_of_a_wide_beat_turns_forward():
    """At the beat's rate, positive where the interval is wide: 4 x 275.6 - 5 x 220 = 2.4 a second."""
    player = sounding(LOW, HIGH, channels=1)
    pulled(player, 1.0)
    one, later = (
        player.beat_phase_turns("low", "high", Ratio(5, 4), player.frame + frames)
        for frames in (0, RATE // 24)
    )

    assert (later - one) % 1.0 == pytest.approx(2.4 / 24, abs=1e-6)


# Where a partial of each of two tones is at one frequency, how loud it is hangs on their phases alone.
PURE_LOW, PURE_HIGH = Tone(220.0, HARMONIC, name="low"), Tone(275.0, HARMONIC, name="high")
SCATTERED = Timbre(HARMONIC.multiples, HARMONIC.levels, tuple(np.linspace(0, 5.3, 12).tolist()))


def begun_together():
    return sounding(*(Tone(tone.hz, SCATTERED, name=tone.name) for tone in (PURE_LOW, PURE_HIGH)), channels=1)


def joined_later():
    player = sounding(PURE_LOW, channels=1)
    pulled(player, 0.1234)
    player.set([PURE_LOW, PURE_HIGH])
    return player


def glided_there():
    player = sounding(PURE_LOW, Tone(276.7, HARMONIC, name="high"), channels=1)
    pulled(player, 0.2345)
    player.glide({"high": 275.0}, 0.05)
    return player


def glided_with_a_level_on_the_way():
    player = sounding(PURE_LOW, Tone(276.7, HARMONIC, name="high"), channels=1)
    pulled(player, 0.2345)
    player.glide({"high": 275.0}, 0.3)
    pulled(player, 0.1)
    player.level(-30.0)
    return player


def glided_from_above_both():
    player = sounding(Tone(221.3, HARMONIC, name="low"), Tone(276.1, HARMONIC, name="high"), channels=1)
    pulled(player, 0.3456)
    player.set([PURE_LOW, PURE_HIGH])
    return player


@pytest.mark.parametrize(
    "begin",
    [begun_together, joined_later, glided_there, glided_with_a_level_on_the_way, glided_from_above_both],
)
def test_a_pure_pair_sounds_in_phase_however_it_came_to_sound(begin):
    """Only its beat is as loud as both partials together, never by chance as faint as their difference."""
    player = begin()
    pulled(player, 0.5)
    level_db = 20 * np.log10(np.abs(pulled(player, 0.1)).max())
    tones = beating_only([PURE_LOW, PURE_HIGH], [(0, 1, Ratio(5, 4))])
    player.level(QUIET_LEVEL_DBFS)
    player.set(tones)
    pulled(player, 1.0)
    only = np.abs(pulled(player, 0.5)).max()

    assert level_db > -60
    assert turns_apart(player.beat_phase_turns("low", "high", Ratio(5, 4)), 0.0) < 1e-6
    assert only == pytest.approx(QUIET / 2 * (HARMONIC.levels[4] + HARMONIC.levels[3]), rel=1e-3)


def test_a_triad_of_pure_intervals_has_each_pair_in_phase():
    tones = [Tone(220.0 * ratio, HARMONIC, name=name) for name, ratio in (("1", 1), ("3", 1.25), ("5", 1.5))]
    player = sounding(tones[0], Tone(331.0, HARMONIC, name="5"), channels=1)
    pulled(player, 0.4321)
    player.set(tones)
    pulled(player, 0.5)

    for low, high, ratio in (("1", "3", Ratio(5, 4)), ("1", "5", Ratio(3, 2)), ("3", "5", Ratio(6, 5))):
        for multiple in (1, 2):
            apart = player.beat_phase_turns(low, high, ratio, multiple=multiple)
            assert turns_apart(apart, 0.0) < 1e-6


def test_coming_into_phase_does_not_click_and_leaves_the_other_tone_alone():
    player = sounding(PURE_LOW, Tone(276.7, HARMONIC, name="high"), channels=1)
    pulled(player, 0.2345)
    before, first = player.partial_phase_turns("low", 5), player.frame
    player.glide({"high": 275.0}, 0.05)
    sound = pulled(player, 0.5)[:, 0]

    assert splash_db(sound, RATE, 4500.0) < -75
    assert (
        turns_apart(player.partial_phase_turns("low", 5), before + 1100.0 * (player.frame - first) / RATE)
        < 1e-6
    )


def test_a_tone_that_joins_takes_the_phase_of_what_sounds():
    player = sounding(PURE_LOW, channels=1)
    pulled(player, 0.2345)
    before, first = player.partial_phase_turns("low", 5), player.frame
    player.set([PURE_HIGH, PURE_LOW])
    pulled(player, 0.5)

    there = before + 1100.0 * (player.frame - first) / RATE
    assert turns_apart(player.partial_phase_turns("low", 5), there) < 1e-6


def test_a_pair_that_beats_is_left_where_it_is():
    """However slowly: no phase is moved but where partials are to stand together."""
    player = sounding(PURE_LOW, Tone(275.3, HARMONIC, name="high"), channels=1)
    player.glide({"high": 275.01}, 0.05)
    pulled(player, 0.05)
    apart, first = player.beat_phase_turns("low", "high", Ratio(5, 4)), player.frame
    player.level(-30.0)
    pulled(player, 1.0)

    later = player.beat_phase_turns("low", "high", Ratio(5, 4))
    assert turns_apart(later, apart + 0.04 * (player.frame - first) / RATE) < 1e-6
    assert turns_apart(apart, 0.0) > 0.05


def test_a_plucked_tone_dies_away_and_is_picked_again():
    player = Player(RATE, channels=1)
    player.set([Tone(220.0, PLUCKED, name="a")], ramp_seconds=0.01)

    picked = [np.abs(pulled(player, 0.2)).max(), np.abs(pulled(player, 2.0)[-9600:]).max()]
    player.set([Tone(220.0, PLUCKED, name="a")], ramp_seconds=0.01)
    again = np.abs(pulled(player, 0.2)).max()

    assert 20 * np.log10(picked[1] / picked[0]) == pytest.approx(-24, abs=1.5)
    assert again == pytest.approx(picked[0], rel=0.05)


def test_mute_and_sound_again_where_the_phase_would_be():
    muted, plain = sounding(LOW, channels=1), sounding(LOW, channels=1)
    muted.mute(True)
    pulled(muted, 0.2)
    assert not pulled(muted, 0.3).any()
    muted.mute(False)
    pulled(muted, 0.1)
    pulled(plain, 0.6)

    assert pulled(muted, 0.2) == pytest.approx(pulled(plain, 0.2), abs=1e-6)


def test_stop_fades_out_and_says_when_it_is_over():
    player = sounding(LOW)
    player.stop(0.1)
    assert not player.finished
    assert pulled(player, 0.09).any()
    assert not player.finished

    pulled(player, 0.02)
    assert player.finished
    assert not pulled(player, 0.1).any()

    player.set([LOW])
    assert not player.finished


def test_commands_from_another_thread_while_blocks_are_pulled():
    """A thread changes everything as fast as it can; every block stays in bounds, the last command holds."""
    player, over = Player(RATE, channels=1), threading.Event()
    failures = []

    def command():
        random = np.random.default_rng(2)
        try:
            for n in range(300):
                names = random.choice(list("abcdef"), size=3, replace=False)
                player.set([Tone(float(random.uniform(80, 900)), HARMONIC, name=name) for name in names])
                player.level(float(random.uniform(-40, -6)))
                player.mute(n % 3 == 0)
                player.glide({str(names[0]): 300.0}, 0.05)
            player.mute(False)
            player.level(-10.0)
            player.set([Tone(500.0, name="last")])
        except Exception as failure:
            failures.append(failure)
        over.set()

    thread = threading.Thread(target=command)
    thread.start()
    block = np.empty((128, 1), dtype=np.float32)
    while not over.is_set():
        player.pull(block)
        assert np.abs(block).max() <= 10 ** (-6 / 20) * (1 + 1e-6)
    thread.join()
    assert not failures

    pulled(player, 5.0)  # the longest rise: from -120 dBFS to the ceiling, by 24 dB a second
    last = pulled(player, 1.0)[:, 0]
    assert hz_of(last, RATE, 500.0) == pytest.approx(500.0, abs=1e-3)
    assert np.abs(last).max() == pytest.approx(10 ** (-10 / 20), rel=1e-3)


def bytes_taken(work):
    """Bytes that doing something a hundred times keeps, and the most it holds on the way."""
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        for _ in range(100):
            work()
        after, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return after - before, peak - before


def test_pulling_allocates_nothing_of_note():
    """12 tones of 32 partials: nothing stays, and what comes and goes are numpy's own buffers.

    It takes them where a product of float64 goes into float32: one of 6 kB for these two rows, a second one
    up to numpy 2.2. So one such product by itself is the measure, not a number of bytes.
    """
    player = sounding(*(Tone(80.0 + 25 * n, Timbre.sloped(32, -4.0)) for n in range(12)))
    block = np.empty((128, 2), dtype=np.float32)
    player.pull(block)
    phases = np.zeros((128 // DEVICE_COLUMNS, 12 * 32))
    narrow = phases.astype(np.float32)

    kept, most = bytes_taken(lambda: player.pull(block))
    _, numpys_own = bytes_taken(lambda: np.multiply(phases, 2 * np.pi, out=narrow, casting="same_kind"))

    assert kept < 1024
    assert most < numpys_own + 1024


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Player(7999),
        lambda: Player(float("nan")),
        lambda: Player(RATE, channels=3),
        lambda: Player(RATE, level_dbfs=CEILING_DBFS + 0.01),
        lambda: Player(RATE).level(float("nan")),
        lambda: Player(RATE).level(0.0),
        lambda: Player(RATE).set([Tone(220, name="a"), Tone(330, name="a")]),
        lambda: Player(RATE).set([LOW], ramp_seconds=0.0),
        lambda: Player(RATE).set([LOW], glide_seconds=float("inf")),
        lambda: Player(RATE).stop(-1.0),
        lambda: Player(RATE).mute(True, ramp_seconds=0.001),
        lambda: sounding(LOW).glide({"who": 220.0}, 1.0),
        lambda: sounding(LOW).glide({"low": 0.0}, 1.0),
        lambda: sounding(LOW).partial_phase_turns("low", 13),
        lambda: sounding(LOW).beat_phase_turns("low", "who", Ratio(5, 4)),
    ],
)
def test_commands_that_cannot_be_meant(wrong):
    with pytest.raises(BadValue) as refusal:
        wrong()

    assert "\n" not in str(refusal.value)


def test_a_command_that_is_refused_changes_nothing():
    player = sounding(LOW, channels=1)
    same = sounding(LOW, channels=1)
    for wrong in (
        lambda: player.set([HIGH], ramp_seconds=0.0),
        lambda: player.glide({"low": 300.0, "who": 1.0}, 1.0),
        lambda: player.level(3.0),
    ):
        with pytest.raises(BadValue):
            wrong()

    player.level(QUIET_LEVEL_DBFS)
    assert pulled(player, 0.2) == pytest.approx(pulled(same, 0.2), abs=1e-6)


def test_the_caution_gives_the_published_limit():
    """NIOSH 98-126: 85 dBA for 8 hours, half the time for each 3 dB; it defers to local rules."""
    for words in ("NIOSH", "85 dBA", "8 hours", "3 dB", "local rules"):
        assert words in HEARING_CAUTION


def test_a_glide_goes_on_among_many_changes_when_a_level_follows_it():
    """While many sets wait for a ramp to end the level overtakes the glide: no jump to where that ends."""
    player = Player(RATE, channels=1)
    block = np.empty((128, 1), dtype=np.float32)
    held = Tone(300.0, name="held")
    for n in range(15):
        others = [Tone(50.0 + n + k, Timbre.sloped(64, -6.0), name=f"{n} {k}") for k in range(3)]
        player.set([held, *others])
        player.pull(block)
    player.glide({"held": 330.0}, 2.0)
    player.level(-20.0)
    player.pull(block)
    assert player._commands  # they wait
    pulled(player, 0.25, 128)
    before = player.partial_phase_turns("held", 1.0)
    pulled(player, 0.001, 48)
    hz = (player.partial_phase_turns("held", 1.0) - before) % 1.0 * 1000

    assert 300.0 < hz < 310.0


# What was pulled ahead of what is heard is pulled again.


def test_what_is_pulled_again_sounds_the_same():
    """Back into a glide, a fade, a pair that comes into phase, and the rest after them."""
    player = sounding(LOW, HIGH)
    player.set([replace(LOW, hz=233.0), replace(HIGH, hz=291.25), Tone(349.5, HARMONIC, name="new")])
    start = player.frame
    once = pulled(player, 0.6)
    for seconds in (0.5, 0.03, 0.0, 0.2):
        player.go_to(start + round(seconds * RATE))
        again = pulled(player, 0.6 - seconds)
        assert np.abs(again - once[round(seconds * RATE) :]).max() < 1e-6


def test_a_change_after_going_back_begins_there():
    """As if nothing had been pulled beyond, also where the level still rises step by step."""

    def begun():
        player = sounding(LOW, HIGH, level_dbfs=-48.0)
        player.level(-12.0)
        return player

    ahead, straight = begun(), begun()
    pulled(ahead, 0.7)
    ahead.go_to(straight.frame + round(0.1 * RATE))
    pulled(straight, 0.1)
    for player in (ahead, straight):
        player.glide({"high": 274.0}, 0.05)
        player.level(-6.0)

    assert ahead.frame == straight.frame
    assert np.abs(pulled(ahead, 1.5) - pulled(straight, 1.5)).max() < 1e-5


def test_nobody_goes_back_behind_a_change_that_has_begun():
    player = sounding(LOW)
    player.set([HIGH])
    begun = player.frame
    pulled(player, 0.1)
    player.go_to(begun - 100)

    assert player.frame == begun


def test_nobody_goes_back_further_than_is_kept():
    player = sounding(LOW)
    player.level(-30.0)
    pulled(player, 5.0)
    for _ in range(4):
        player.level(-24.0)
        pulled(player, 0.5)
    player.go_to(0)

    assert player.frame >= 5.5 * RATE
