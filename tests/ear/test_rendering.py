"""Stimuli as sound: what the data says, at the level that was drawn, without a click."""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure import beat_of, splash_db
from tonegen.ear.rendering import MADE_FOR_DBFS, Booth, Clip, HeldSound, one_after_another, rendered, strip
from tonegen.ear.trials import Bed, Task, TrialKind, make_trial, sloping
from tonegen.interval import Ratio

RATE = 48000
RAMP = round(0.04 * RATE)
SILENT_DB = -120  # above 20 khz no partial lies: what is there is a click
SEVENTH = (Ratio(1, 1), Ratio(5, 4), Ratio(3, 2), Ratio(7, 4))


def sum_of_sines(sound, frames):
    t = np.arange(frames) / RATE
    hz, amplitude, turns = sound.partials()
    return amplitude @ np.sin(2 * np.pi * (np.outer(hz, t) + turns[:, np.newaxis]))


@pytest.mark.parametrize("seed", range(2))
def test_a_sound_is_the_sum_of_its_sines_between_its_ramps(seed):
    sound = make_trial(Task(TrialKind.SET), 20, seed).sounds[0]
    made = rendered(sound, RATE)
    true = sum_of_sines(sound, len(made))

    assert len(made) == round(sound.seconds * RATE)
    assert made[RAMP:-RAMP] == pytest.approx(np.stack([true, true], axis=1)[RAMP:-RAMP], abs=1e-6)
    assert made[0] == pytest.approx([0, 0])
    assert made[RAMP // 2, 0] == pytest.approx(true[RAMP // 2] / 2, abs=1e-6)  # a raised cosine is half way


@pytest.mark.parametrize("bed", Bed)
def test_both_sounds_of_a_trial_are_matched_in_level(bed):
    """The level that each sound drew is the one measured, without what is beneath, and with it."""
    for seed in range(4):
        for sound in make_trial(Task(TrialKind.PURER, bed=bed, bed_db=-6, seconds=(3, 4)), 20, seed).sounds:
            whole = 10 * np.log10(np.mean(rendered(sound, RATE)[:, 0].astype(float) ** 2))
            with_bed = sound.level_db + (0 if bed is Bed.NONE else 10 * np.log10(1 + 10**-0.6))
            ramps = 10 * np.log10(1 - 2 * 0.04 * (5 / 8) / sound.seconds)  # mean square of the ramp is 3/8

            assert whole == pytest.approx(with_bed + ramps, abs=0.15)


@pytest.mark.parametrize("bed", Bed)
def test_a_stored_sound_is_the_same_to_the_last_bit(bed):
    task = Task(TrialKind.ABX, bed=bed)
    once, again = (one_after_another(make_trial(task, 9, 4).sounds, RATE) for _ in range(2))

    assert np.array_equal(once, again)


def test_the_loudest_that_a_task_can_ask_stays_under_the_ceiling():
    spectra = (sloping(0, 10), sloping(-3, 10))
    for bed in Bed:
        task = Task(TrialKind.PURER, (SEVENTH,), spectra=spectra, level_db=(-26, -26), bed=bed, bed_db=0)
        for seed in range(3):
            sounds = make_trial(task, 20, seed).sounds
            assert np.abs(one_after_another(sounds, RATE)).max() < 1
            assert np.abs(rendered(replace(sounds[0], bed=Bed.NONE), RATE)).max() < 0.5012  # -6 dBFS


def test_sounds_and_their_gaps_do_not_click():
    samples = one_after_another(make_trial(Task(TrialKind.ABX), 20, 2).sounds, RATE)[:, 0].astype(float)
    cut = samples.copy()
    cut[np.abs(samples).argmax()] = 0  # a missing sample, as the control

    assert splash_db(samples, RATE, 20000) < SILENT_DB
    assert splash_db(cut, RATE, 20000) > SILENT_DB + 30


def pulled(source, frames, block=128):
    out = np.empty((frames, 2), dtype=np.float32)
    for start in range(0, frames, block):
        source.pull(out[start : start + block])
    return out


@pytest.mark.parametrize("chord", [(Ratio(1, 1), Ratio(5, 4)), SEVENTH], ids=["third", "seventh"])
def test_a_sound_to_adjust_begins_as_the_sound_that_was_drawn(chord):
    sound = make_trial(Task(TrialKind.SET, (chord,), seconds=(1, 1)), 20, 6).sounds[0]

    held = pulled(HeldSound(sound, RATE), RATE)
    true = sum_of_sines(sound, RATE)

    assert held[RAMP:, 0] == pytest.approx(true[RAMP:], abs=2e-6)


def test_a_sound_that_is_moved_glides_to_the_rate_that_it_should_have():
    """Measured: the coincident pair, after the glide, swells at the new rate."""
    sound = make_trial(Task(TrialKind.SET, ((Ratio(1, 1), Ratio(3, 2)),)), 20, 6).sounds[0]
    held = HeldSound(sound, RATE)
    pulled(held, RATE // 2)
    moved = sound.with_error(5.0)
    held.move(moved)
    after = pulled(held, 12 * RATE)[RATE:, 0].astype(float)

    assert beat_of(after, RATE, 3 * moved.tones_hz[0], 30) == pytest.approx(abs(moved.rate), abs=0.005)


@pytest.mark.parametrize("bed", [Bed.NOISE, Bed.CHORD])
def test_what_is_beneath_is_held_as_well(bed):
    """6 dB below the sound, as long as it is held; what a sound with it has more than one without."""
    sound = make_trial(Task(TrialKind.SET, bed=bed, bed_db=-6), 20, 6).sounds[0]
    beneath = pulled(HeldSound(sound, RATE), 8 * RATE) - pulled(
        HeldSound(replace(sound, bed=Bed.NONE), RATE), 8 * RATE
    )
    level = 10 * np.log10(np.mean(beneath[RAMP:, 0].astype(float) ** 2))

    assert level == pytest.approx(sound.level_db - 6, abs=0.3)
    assert splash_db(beneath[:, 0].astype(float), RATE, 20000) < SILENT_DB
    assert np.abs(beneath[:24]).max() < 1e-4  # it fades in


def test_noise_beneath_is_pink_and_normal():
    """As much power in each octave from 62.5 to 4000 Hz, next to none outside, a crest as normal."""
    sound = make_trial(Task(TrialKind.SET, bed=Bed.NOISE), 20, 6).sounds[0]
    beneath = pulled(HeldSound(sound, RATE), 8 * RATE) - pulled(
        HeldSound(replace(sound, bed=Bed.NONE), RATE), 8 * RATE
    )
    noise = beneath[RATE:, 0].astype(float)
    power = np.abs(np.fft.rfft(noise * np.hanning(noise.size))) ** 2
    hz = np.fft.rfftfreq(noise.size, 1 / RATE)
    octaves = [power[(hz >= low) & (hz < 2 * low)].sum() for low in 62.5 * 2.0 ** np.arange(6)]

    assert 10 * np.log10(octaves / np.mean(octaves)) == pytest.approx(np.zeros(6), abs=1.0)
    assert power[(hz < 50) | (hz > 8100)].sum() < power.sum() / 1e4
    assert np.mean(noise**4) / np.mean(noise**2) ** 2 == pytest.approx(3, abs=0.1)


def test_a_source_that_plays_is_not_begun_again():
    numbers = np.arange(2000, dtype=np.float32) / 2**14  # under the level that a booth keeps to
    first = Clip(numbers.reshape(1000, 2))
    booth = Booth(RATE, MADE_FOR_DBFS)
    booth.play(first)
    before = pulled(booth, 256)
    booth.play(first)
    after = pulled(booth, 256)

    assert np.array_equal(np.concatenate([before, after]), numbers[:1024].reshape(512, 2))


def test_the_booth_plays_one_source_after_another_without_a_click():
    first, second = (rendered(sound, RATE) for sound in make_trial(Task(TrialKind.PURER), 20, 3).sounds)
    booth = Booth(RATE, MADE_FOR_DBFS)
    silence = pulled(booth, 1280)
    booth.play(Clip(first))
    alone = pulled(booth, RATE // 2 // 128 * 128)
    booth.play(Clip(second))  # before the first has ended
    change = pulled(booth, RATE // 4 // 128 * 128)
    booth.stop()
    assert not booth.finished
    end = pulled(booth, 2560)
    assert booth.finished
    whole = np.concatenate([silence, alone, change, end])[:, 0].astype(float)

    assert not silence.any()
    assert np.array_equal(alone, first[: len(alone)])
    after = round(0.02 * RATE)
    assert np.array_equal(change[after:], second[after : len(change)])
    assert not end[after:].any()
    assert splash_db(whole, RATE, 20000) < SILENT_DB
    assert booth.frame == len(whole)


def test_a_clip_is_followed_by_silence():
    clip = Clip(np.ones((100, 2), dtype=np.float32))

    assert pulled(clip, 256).sum() == 200


def test_the_strip_shows_as_many_swells_as_there_are_beats():
    for seed in range(20):
        sound = replace(
            make_trial(Task(TrialKind.RATE, beats_per_second=(1, 3)), 20, seed).sounds[0], seconds=4.0
        )
        drawn = strip(sound, cells=200)
        level = np.array([" ▁▂▃▄▅▆▇█".index(cell) for cell in drawn]) - 4.5
        swells = np.sum((level[1:] > 0) & (level[:-1] < 0))

        assert swells == pytest.approx(4 * abs(sound.rate), abs=1.01)
