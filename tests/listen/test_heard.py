"""How near to the truth a picked string is heard, on strings made for it and on recordings of real ones."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample

from tests.listen.strings import RATE, partial_hz, pink, plucked
from tonegen.listen.heard import MovingBar, UnreadSound, heard, moved
from tonegen.listen.spectrum import Expected, spectrum
from tonegen.presets import instrument

GUITARS = sorted((Path(__file__).parents[1] / "published" / "guitars").glob("*.flac"))
# Standard tuning of the guitar, strings 1 to 6: E4 B3 G3 D3 A2 E2, equal temperament at A4 = 440 Hz (ISO 16).
GUITAR_HZ = {1: 329.628, 2: 246.942, 3: 195.998, 4: 146.832, 5: 110.0, 6: 82.407}
E9 = instrument("e9-ten-string")


def as_expected(state):
    """Every string of the E9 as it sounds in a state, in equal temperament: 2^(1/12) a semitone from A4."""
    found = []
    for string in E9.strings:
        key = E9.key(E9.point(string.number, state))
        stiffness = E9.stiffness(string.number, state, 0.0)
        found.append(
            Expected(
                string.number,
                E9.note(E9.point(string.number, state)),
                440 * 2 ** ((key - 69) / 12),
                stiffness,
            )
        )
    return found


def errors_and_claims(count, **how):
    """Errors in cents of so many picks of any string and stiffness, and the errors that were stated."""
    errors, claims = [], []
    for seed in range(count):
        draw = np.random.default_rng(1000 + seed)
        hz, off = 440 * 2 ** ((draw.integers(45, 72) - 69) / 12), draw.uniform(-30, 30)
        sound, fall = plucked(seed, hz * 2 ** (off / 1200), 1e-4 * np.exp(draw.normal(0, 0.5)), **how)
        string = heard(sound, RATE, [Expected(1, "any", hz)])
        errors.append(string.cents - off - fall)
        claims.append(string.error_cents)
    return np.abs(errors), np.array(claims)


def test_an_ideal_string_for_a_second_20_db_over_the_noise():
    errors, claims = errors_and_claims(60)
    assert np.quantile(errors, 0.95) < 0.02
    assert np.mean(errors < 2 * claims) >= 0.9


def test_a_string_that_falls_after_the_pick():
    """What is said is the mean of the second."""
    errors, _ = errors_and_claims(60, falls_cents=6.0)
    assert np.quantile(errors, 0.95) < 0.05


@pytest.mark.long
def test_partials_that_go_their_own_ways_are_said_to():
    """A tenth of a cent each, and two ways of swinging up to 0.3 cents apart."""
    errors, claims = errors_and_claims(100, strays_cents=0.1, two_ways_cents=0.3)
    assert np.median(errors) < 0.12
    assert np.mean(errors < 2 * claims) >= 0.86
    assert np.median(claims) < 0.2


@pytest.mark.parametrize("changes", [(), ("A", "B"), ("A", "F"), ("E",)], ids="+".join)
def test_the_string_is_named_whatever_is_engaged(changes):
    state = E9.state(changes)
    expected = as_expected(state)
    for each in expected:
        for seed in range(2):
            sound, _ = plucked(
                seed + 10 * each.string, each.hz * 2 ** ((-25 + 50 * seed) / 1200), each.stiffness,
                strays_cents=0.2, two_ways_cents=0.2, falls_cents=4.0,
            )  # fmt: skip
            string = heard(sound, RATE, expected)
            assert each.string in string.strings
            assert {expected[number - 1].name for number in string.strings} == {each.name}


def test_two_strings_of_one_note_are_both_named():
    """Two strings of a made-up chart."""
    alike = [Expected(5, "C#4", 277.183), Expected(7, "C#4", 277.5), Expected(8, "E3", 164.814)]
    assert heard(plucked(3, 277.3)[0], RATE, alike).strings == (5, 7)


@pytest.mark.parametrize("path", GUITARS, ids=lambda path: path.stem)
def test_a_real_string_is_named_and_in_tune_within_a_quarter_tone(path):
    sound, rate = soundfile.read(path, 2 * RATE)
    guitar = [Expected(number, "", hz, 5e-5) for number, hz in GUITAR_HZ.items()]
    string = heard(sound[int(0.36 * rate) :][:rate], rate, guitar)
    assert string.strings == (int(path.stem[-1]),)
    assert abs(string.cents) < 25


@pytest.mark.long
def test_a_real_string_moved_by_exact_resampling():
    """The same recording with another number of samples: moved by 1200 log2(N / M) cents, whatever it is."""
    errors, claims = [], []
    for number, path in enumerate(GUITARS):
        sound, rate = soundfile.read(path, 2 * RATE)
        for seed in range(3):
            frames = len(sound) + (17, -150, 280)[seed] + number
            other = resample(sound, frames)
            first, second = (
                each[int(0.55 * rate) :][:rate]
                + pink(seed * 2 + place, rate) * each[int(0.55 * rate) :][:rate].std() * 10 ** (-25 / 20)
                for place, each in enumerate((sound, other))
            )
            asked = Expected(1, "", GUITAR_HZ[int(path.stem[-1])], 5e-5)
            cents, error = moved(first, second, rate, asked)
            errors.append(abs(cents - 1200 * np.log2(len(sound) / frames)))
            claims.append(error)
    assert np.median(errors) < 0.02
    assert np.quantile(errors, 0.95) < 0.12
    assert np.mean(np.array(errors) < 2 * np.array(claims)) >= 0.85


def test_stiffness_is_heard_with_the_pitch():
    """B of a string that is three times as stiff as it was taken to be."""
    string = heard(plucked(5, 196.0, 3e-4)[0], RATE, [Expected(1, "G3", 196.0, 1e-4)])
    assert string.stiffness == pytest.approx(3e-4, rel=0.02)
    assert string.hz == pytest.approx(196.0, rel=1e-5)


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 192000])
def test_any_rate(rate):
    sound, _ = plucked(1, 110.0 * 2 ** (7 / 1200), rate=rate)
    assert heard(sound, rate, [Expected(5, "A2", 110.0)]).cents == pytest.approx(7, abs=0.1)


def test_a_level_beside_zero_says_nothing():
    sound, _ = plucked(1, 110.0)
    assert heard(sound + 0.5, RATE, [Expected(5, "A2", 110.0)]).cents == pytest.approx(0, abs=0.05)


T = np.arange(RATE) / RATE
STRINGS = as_expected(E9.state())


def hum(mains):
    return sum(np.cos(2 * np.pi * mains * number * T) / number for number in range(1, 8))


def shaken():
    """A bar that swings by 12 cents, 5.2 times a second."""
    turns = np.cumsum(164.814 * 2 ** (12 * np.sin(2 * np.pi * 5.2 * T) / 1200)) / RATE
    return sum(np.cos(2 * np.pi * number * turns) / number for number in range(1, 9))


def quiet_noise(seed=0):
    return 0.001 * np.random.default_rng(seed).standard_normal(RATE)


@pytest.mark.parametrize("swing_cents", [5.0, 12.0, 25.0, 40.0])
@pytest.mark.parametrize("swing_hz", [3.3, 5.2, 7.5])
def test_a_bar_that_moves_is_told_by_its_middle_its_swing_and_how_often(swing_cents, swing_hz):
    """E3 with twelve partials, 6 cents above its target."""
    turns = np.cumsum(2 ** ((6 + swing_cents * np.sin(2 * np.pi * swing_hz * T)) / 1200)) / RATE
    sound = sum(np.cos(2 * np.pi * partial_hz(164.814, n, 1e-4) * turns) / n for n in range(1, 13))
    with pytest.raises(MovingBar) as moving:
        heard(sound * np.exp(-T) + quiet_noise(), RATE, STRINGS)
    bar = moving.value
    assert bar.expected.string == 8
    assert bar.cents == pytest.approx(6, abs=0.5)
    assert bar.swing_cents == pytest.approx(swing_cents, rel=0.12)
    assert bar.swing_hz == pytest.approx(swing_hz, abs=0.15)


def test_what_partials_explain_is_a_share_of_what_stands_out_of_the_noise():
    """Of a string alone all of it, and no more, however near the noise is."""
    seen = spectrum(plucked(3, 164.814, noise_db=10.0)[0], RATE)
    assert 0.99 < seen.explained(partial_hz(164.814, np.arange(1, 21), 1e-4)) <= 1


def test_a_quiet_string_on_direct_current_reads_the_same():
    quiet = 0.005 * plucked(3, 164.814)[0][: round(0.26 * RATE)]
    one, other = heard(quiet, RATE, STRINGS), heard(quiet + 0.9, RATE, STRINGS)
    assert (other.strings, other.cents) == (one.strings, pytest.approx(one.cents, abs=1e-4))


REFUSED = {
    "too short": (lambda: plucked(1, 164.814)[0][: RATE // 5], "too short: let it ring for 0.25 s"),
    "silence": (lambda: np.zeros(RATE), "nothing heard; is the right input chosen"),
    "direct current": (lambda: np.full(RATE, 0.3), "nothing heard; is the right input chosen"),
    "no number": (lambda: plucked(1, 164.814)[0] * np.where(T > 0.5, np.nan, 1), "not a sound"),
    "noise": (lambda: 100 * quiet_noise(), "nothing rings|another note|something else"),
    "hum in Europe": (lambda: hum(50) + quiet_noise(), "hum of the mains is heard, 50 Hz"),
    "hum in America": (lambda: hum(60) + quiet_noise(), "hum of the mains is heard, 60 Hz"),
    "clipped": (lambda: np.clip(40 * plucked(1, 164.814)[0], -1, 1), "clipped"),
    "another note": (lambda: plucked(1, 440 * 2 ** ((67 - 69) / 12))[0], "another note than any string"),
    "an octave above": (lambda: plucked(1, 293.665)[0], "only partials 2, 4, 6 of string 9 ring"),
    "two strings": (
        lambda: plucked(1, 329.628)[0] + plucked(2, 246.942)[0],
        "more than one string rings",
    ),
    "a shaking bar": (
        lambda: shaken() + quiet_noise(),
        r"the bar moves: string 8 swings 12 cents either way, 5\.2 t",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_reading_is_refused_with_its_reason(name):
    sound, says = REFUSED[name]
    with pytest.raises(UnreadSound, match=says):
        heard(sound(), RATE, STRINGS)


def test_partials_are_where_the_law_says():
    """The tests' own law, against the program's."""
    from tonegen.interval import partial_hz as ours

    assert ours(100.0, 8, 3e-4) == pytest.approx(partial_hz(100.0, 8, 3e-4), rel=1e-12)
