"""Trials: made again exactly from their seed, true to what they claim, and with no cue but the beat."""

from dataclasses import replace
from functools import cache

import msgspec
import numpy as np
import pytest

from tonegen.ear.planning import Wish, plan_of
from tonegen.ear.trials import (
    WITH_THRESHOLD,
    Bed,
    Task,
    Trial,
    TrialKind,
    TrialSound,
    judge,
    make_trial,
    mean_square,
    parse_chords,
    seed_of,
)
from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.pitch import cents_between

TRIADS = ((Ratio(1, 1), Ratio(5, 4), Ratio(3, 2)), (Ratio(1, 1), Ratio(4, 3), Ratio(5, 3)))


def waveform(sound: TrialSound, seconds: float, rate: int = 48000):
    """The sum of sines as anybody would write it."""
    t = np.arange(round(seconds * rate)) / rate
    hz, amplitude, phase = sound.partials()
    return amplitude @ np.sin(2 * np.pi * (np.outer(hz, t) + phase[:, np.newaxis]))


@pytest.mark.parametrize("kind", [kind for kind in TrialKind if kind is not TrialKind.OWN])
@pytest.mark.parametrize("chords", [Task(TrialKind.SET).chords, TRIADS], ids=["intervals", "triads"])
def test_a_stored_trial_is_made_again_exactly(kind, chords):
    """Through JSON, as the history stores it."""
    for number in range(20):
        trial = make_trial(Task(kind, chords, bed=Bed.NOISE), 7.5, seed_of(3, number))
        stored = msgspec.json.decode(msgspec.json.encode(trial), type=Trial)

        assert make_trial(stored.task, stored.level_cents, stored.seed) == stored == trial


def test_the_generator_is_the_one_that_never_changes():
    """Python promises `random()` of a seed for ever; this is what 0 gives (CPython)."""
    from random import Random

    assert [Random(0).random() for _ in range(1)] == [0.8444218515250481]
    assert seed_of(0, 0) == int(0.8444218515250481 * 2**53)


@pytest.mark.parametrize("seed", range(8))
def test_a_sound_has_the_level_that_was_drawn_beats_included(seed):
    sounds = make_trial(Task(TrialKind.PURER, TRIADS), 15, seed).sounds
    for sound in sounds:
        wave = waveform(sound, sound.seconds)

        assert 10 * np.log10(np.mean(wave**2)) == pytest.approx(sound.level_db, abs=0.01)


@pytest.mark.parametrize("kind", [TrialKind.RATE, TrialKind.MATCH])
@pytest.mark.parametrize("chords", [Task(TrialKind.SET).chords, TRIADS], ids=["intervals", "triads"])
def test_the_rate_to_tap_is_the_rate_that_sounds(kind, chords):
    for seed in range(50):
        trial = make_trial(Task(kind, chords), 10, seed)

        assert abs(trial.sounds[0].rate) == pytest.approx(trial.right, abs=1e-9)
        assert 0.7 <= trial.right <= 4


def test_the_beat_of_the_waveform_is_the_beat_that_is_claimed():
    """The coincident pair, filtered out of the waveform, swells at the rate claimed."""
    sound = replace(make_trial(Task(TrialKind.RATE), 10, 5).sounds[0], seconds=40.0)
    rate, ratio = abs(sound.rate), sound.chord[1]
    wave = waveform(sound, 40.0, rate=20000)
    spectrum = np.fft.rfft(wave)
    hz = np.fft.rfftfreq(wave.size, 1 / 20000)
    spectrum[np.abs(hz - ratio.upper * sound.low_hz) > 15] = 0
    envelope = np.fft.irfft(spectrum) ** 2 * np.hanning(wave.size)
    swell = np.abs(np.fft.rfft(envelope - envelope.mean(), 8 * wave.size))
    slow = np.fft.rfftfreq(8 * wave.size, 1 / 20000)
    inside = (slow > 0.3) & (slow < 20)

    assert slow[inside][np.argmax(swell[inside])] == pytest.approx(rate, abs=0.02)


@pytest.mark.parametrize("kind", [TrialKind.PURER, TrialKind.SIDE, TrialKind.ABX, TrialKind.SET])
def test_errors_are_as_asked_and_mean_pitch_stays(kind):
    for seed in range(40):
        trial = make_trial(Task(kind, TRIADS), 12, seed)
        for sound in trial.sounds:
            pure = sound.with_error(0.0)
            moved = (
                cents_between(sound.tones_hz[0], sound.tones_hz[sound.moved]) - sound.chord[sound.moved].cents
            )

            assert moved == pytest.approx(sound.error_cents, abs=1e-9)
            assert cents_between(pure.tones_hz, sound.tones_hz).mean() == pytest.approx(0, abs=1e-9)
            assert pure.rate == pytest.approx(0, abs=1e-9)
        errors = [round(abs(sound.error_cents), 6) for sound in trial.sounds]
        if kind is TrialKind.PURER:
            assert errors[int(trial.right)] == 0
            assert sorted(errors) == [0, 12]
        elif kind is TrialKind.ABX:
            assert sorted(errors[:2]) == [0, 12]
            assert errors[2] == errors[int(trial.right)]
        elif kind is TrialKind.SIDE:
            assert trial.sounds[0].error_cents == {0: 12, 1: 0, 2: -12}[trial.right]
        else:
            assert 0.4 * 12 <= errors[0] <= 12


# --- No cue but the beat. Each listener below hears one thing only, perfectly, and has learned from 2,500
# trials with the answers told, how to use it best; then he is asked 2,500 others. By chance he is right in
# 1/n of them; 4 standard deviations are allowed, for there are many listeners.

LEARNED = ASKED = 2500


def heard(sound: TrialSound) -> dict[str, list[float]]:
    """What each listener hears of a sound."""
    hz, amplitude, phase = sound.partials()
    first_cycle_db = 10 * np.log10(mean_square(hz, amplitude, phase, 1 / sound.low_hz))
    partials, ratio = len(sound.levels_db), sound.chord[sound.moved]
    apart = 2 * np.pi * (phase[sound.moved * partials + ratio.lower - 1] - phase[ratio.upper - 1])
    tones_hz = sound.tones_hz
    return {
        "loudness": [sound.level_db, 10 * np.log10(mean_square(hz, amplitude, phase, sound.seconds))],
        "duration": [sound.seconds],
        "loudness of the first cycle": [first_cycle_db, first_cycle_db - sound.level_db],
        "phase in the first cycle": [amplitude @ np.sin(2 * np.pi * phase), np.cos(apart), np.sin(apart)],
        "pitch of the lowest tone": [np.log(tones_hz[0])],
        "pitch of the moved tone": [np.log(tones_hz[sound.moved])],
        "mean pitch": [np.log(tones_hz).mean()],
        "the beat": [abs(sound.rate)],
    }


CUES = tuple(heard(make_trial(Task(TrialKind.SET), 20, 0).sounds[0]))
CHEATS = [cue for cue in CUES if cue != "the beat"]


def known(cues):
    """All that a listener can make of his cues (trials x sounds x cues): each in ten steps, and compared."""
    trials = len(cues)
    compared = [cues.reshape(trials, -1)]
    if cues.shape[1] > 1:
        compared.append((cues[:, :-1] - cues[:, -1:]).reshape(trials, -1))
    if cues.shape[1] > 2:
        compared.append(np.abs(cues[:, 0] - cues[:, 2]) - np.abs(cues[:, 1] - cues[:, 2]))
    features = [np.ones((trials, 1))]
    for column in np.concatenate(compared, axis=1).T:
        edges = np.unique(np.quantile(column[:LEARNED], np.linspace(0, 1, 11)[1:-1]))
        features.append(np.eye(len(edges) + 1)[np.searchsorted(edges, column)])
    return np.concatenate(features, axis=1)


def learned(cues, wanted):
    """What a listener who has learned from the first trials does in the others."""
    features = known(cues)
    return features[LEARNED:] @ np.linalg.lstsq(features[:LEARNED], wanted[:LEARNED], rcond=None)[0]


def learned_score(cues, right, answers):
    """The share of right answers of a listener who has learned to choose by these cues."""
    return np.mean(np.argmax(learned(cues, np.eye(answers)[right]), axis=1) == right[LEARNED:])


FIVE = parse_chords("6:5,5:4,4:3,3:2,5:3")
CHANCE = {**WITH_THRESHOLD, TrialKind.NAME: 1 / len(FIVE)}
# What nature gives of an interval that is asked for by name: see tonegen.ear.trials.
BY_NATURE = {"loudness of the first cycle": 0.24}
# In a blind test, and of your own grip, all that differs between A and B comes of the error; so nothing else
# can tell, see below.
DRAWN_APART = [kind for kind in CHANCE if kind not in (TrialKind.ABX, TrialKind.OWN)]


@cache
def listened(kind):
    """The trials of a kind, and what was heard of every sound by each listener."""
    task = plan_of(Wish(kind), 0).task if kind is TrialKind.NAME else Task(kind)
    trials = [make_trial(task, 20, seed_of(11, number)) for number in range(LEARNED + ASKED)]
    sounds = [[heard(sound) for sound in trial.sounds] for trial in trials]
    return trials, {cue: np.array([[sound[cue] for sound in one] for one in sounds]) for cue in CUES}


def choices(kind, cue):
    trials, cues = listened(kind)
    return learned_score(cues[cue], np.array([int(trial.right) for trial in trials]), round(1 / CHANCE[kind]))


@pytest.mark.long
@pytest.mark.parametrize("cue", CHEATS)
@pytest.mark.parametrize("kind", DRAWN_APART)
def test_a_listener_to_anything_but_the_beat_guesses(kind, cue):
    score, chance = choices(kind, cue), CHANCE[kind]

    if kind is TrialKind.NAME and cue in BY_NATURE:
        assert score == pytest.approx(BY_NATURE[cue], abs=0.03)
    else:
        assert score < chance + 4 * np.sqrt(chance * (1 - chance) / ASKED)


def test_x_of_a_blind_test_is_exactly_one_of_two_sounds_that_differ_by_the_error_alone():
    for seed in range(200):
        trial = make_trial(Task(TrialKind.ABX), 5, seed)
        a, b, x = trial.sounds

        assert x == (a, b)[int(trial.right)]
        assert a.with_error(b.error_cents) == b
        assert {abs(a.error_cents), abs(b.error_cents)} == {0, 5}


@pytest.mark.parametrize("kind", [TrialKind.SIDE, TrialKind.SET, TrialKind.RATE, TrialKind.MATCH])
def test_of_a_triad_one_interval_is_named(kind):
    """The one whose beat is judged: that of the moved tone with the lowest."""
    names = set()
    for seed in range(20):
        trial = make_trial(Task(kind, TRIADS[:1]), 12, seed)
        names.add(trial.chord[trial.sounds[0].moved].name)

        assert f"listen to the {trial.chord[trial.sounds[0].moved].name}." in trial.question
    assert len(names) == 2
    assert "listen" not in make_trial(Task(kind), 12, 1).question


@pytest.mark.parametrize(
    ("kind", "knows"), [(TrialKind.PURER, 1), (TrialKind.ABX, 1), (TrialKind.SIDE, 2 / 3)]
)
def test_a_listener_to_the_beat_knows(kind, knows):
    """The control: the same way of learning, given the beat, is right; but no beat tells the side."""
    assert choices(kind, "the beat") == pytest.approx(knows, abs=0.03)


def aims(kind, cue):
    """How well a listener knows the size of what he has to set or to tap, and its side, as correlations."""
    trials, cues = listened(kind)
    starts = np.array([trial.sounds[-1].error_cents for trial in trials])
    size = np.abs(starts) if kind is TrialKind.SET else np.log([trial.right for trial in trials])
    return tuple(
        np.corrcoef(learned(cues[cue], wanted), wanted[LEARNED:])[0, 1] for wanted in (size, np.sign(starts))
    )


@pytest.mark.long
@pytest.mark.parametrize("cue", CHEATS)
@pytest.mark.parametrize("kind", [TrialKind.SET, TrialKind.RATE, TrialKind.MATCH])
def test_a_listener_to_anything_but_the_beat_aims_blindly(kind, cue):
    """How far to move and which way, how fast to tap: nothing else tells."""
    assert max(map(abs, aims(kind, cue))) < 4 / np.sqrt(ASKED)


@pytest.mark.parametrize(
    ("kind", "knows"), [(TrialKind.SET, 0.5), (TrialKind.RATE, 0.98), (TrialKind.MATCH, 0.98)]
)
def test_a_listener_to_the_beat_aims_well(kind, knows):
    """The control. The same error beats faster in a higher place, so that the beat alone is not all of it."""
    size, side = aims(kind, "the beat")

    assert size > knows
    assert abs(side) < 4 / np.sqrt(ASKED)


def test_the_start_of_an_adjustment_tells_nothing():
    """Neither the side nor the distance; a listener who moves by a fixed amount sets nothing pure."""
    starts = np.array(
        [make_trial(Task(TrialKind.SET), 30, seed).sounds[0].error_cents for seed in range(4000)]
    )

    assert np.mean(starts > 0) == pytest.approx(0.5, abs=0.03)
    assert np.std(np.abs(starts)) > 4


def test_answers_are_judged():
    third = make_trial(Task(TrialKind.SET), 20, 1)
    beat = make_trial(Task(TrialKind.RATE), 20, 1)
    purer = make_trial(Task(TrialKind.PURER), 20, 1)

    assert judge(third, -1.5).error == -1.5
    assert judge(beat, 1.1 * beat.right).error == pytest.approx(10)
    assert judge(purer, purer.right).right is True
    assert judge(purer, 1 - purer.right).right is False


BAD = {
    "an answer that is not offered": (
        lambda: judge(make_trial(Task(TrialKind.PURER), 9, 1), 2),
        "answers 1 to 2",
    ),
    "half an answer": (lambda: judge(make_trial(Task(TrialKind.PURER), 9, 1), 0.5), "answers 1 to 2"),
    "no number": (lambda: judge(make_trial(Task(TrialKind.SET), 9, 1), float("nan")), "finite number"),
    "a rate below nothing": (lambda: judge(make_trial(Task(TrialKind.RATE), 9, 1), -1), "0 or above"),
    "no error at all": (lambda: make_trial(Task(TrialKind.SET), 0, 1), "0 and 100"),
    "a semitone and more": (lambda: make_trial(Task(TrialKind.SET), 101, 1), "0 and 100"),
    "no intervals": (lambda: Task(TrialKind.SET, chords=()), "at least one interval"),
    "one name to choose": (lambda: Task(TrialKind.NAME, chords=TRIADS[:1]), "two intervals"),
    "a lone tone": (lambda: Task(TrialKind.SET, chords=((Ratio(1, 1),),)), "two tones"),
    "a chord from above": (
        lambda: Task(TrialKind.SET, chords=((Ratio(1, 1), Ratio(4, 5)),)),
        "from the lowest up",
    ),
    "too few partials": (lambda: Task(TrialKind.SET, spectra=((0.0, -6.0),)), "no more than 2"),
    "too loud": (lambda: Task(TrialKind.SET, level_db=(-20, 0)), "level_db"),
    "a span from high to low": (lambda: Task(TrialKind.SET, low_hz=(300, 200)), "low_hz from 300 to 200"),
    "a register of nan": (lambda: Task(TrialKind.SET, low_hz=(float("nan"), 200)), "low_hz"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_meant_is_refused_in_one_line(case):
    wrong, message = BAD[case]

    with pytest.raises(BadValue, match=message) as caught:
        wrong()
    assert "\n" not in str(caught.value)
