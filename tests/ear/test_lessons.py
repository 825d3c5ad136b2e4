"""Lessons: what they say of the beats is what sounds, and a mistake in a teacher's file is one line."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure import beat_of, hz_of
from tonegen import presets
from tonegen.ear.lesson import KIND, HeldTones, ladder, lesson, rungs, swells
from tonegen.ear.rendering import MADE_FOR_DBFS
from tonegen.errors import BadPreset
from tonegen.pitch import cents_between
from tonegen.sounding import tones_of_grip
from tonegen.synthesis.timbre import Timbre

RATE = 48000
NAMES = ("hearing-beats", "from-one-tone", "drop-in-a-grip", "in-the-band")
SHIPPED = [pytest.param(step, id=f"{name}: {step.title}") for name in NAMES for step in lesson(name).steps]


def coincident_swell(samples, beat, low_hz, high_hz):
    """Beats a second measured: the distance of the two strongest lines where the partials meet."""
    windowed = samples * np.hanning(len(samples))
    size = 1 << 21
    spectrum = np.abs(np.fft.rfft(windowed, size))
    hz = np.fft.rfftfreq(size, 1 / RATE)
    lines = [beat.ratio.upper * low_hz, beat.ratio.lower * high_hz]
    found = [hz[near][np.argmax(spectrum[near])] for near in (np.abs(hz - line) < 0.4 for line in lines)]
    return found[1] - found[0]


def test_shipped_lessons_are_presets():
    assert set(NAMES) <= set(presets.names(KIND))


@pytest.mark.parametrize("step", SHIPPED)
def test_every_step_sounds_quietly_from_silence_to_silence(step):
    for sound in step.sounds:
        made = sound.rendered(RATE)

        assert len(made) == round(sound.seconds * RATE)
        least = 0.006 if sound.only_partial is None else 0.002  # as soft as a partial is in its tone
        assert least < np.abs(made).max() < 1.001 * 10 ** (MADE_FOR_DBFS / 20)
        assert np.abs(made[:5]).max() < 1e-3
        assert np.abs(made[-5:]).max() < 1e-3


def test_the_picture_holds_the_partials_that_sound_and_no_others():
    """Of the whole third ten of each tone; of `only_beating` the two that meet, and the rest is silent."""
    only, whole = lesson("hearing-beats").steps[1].sounds
    low, high = (hz * np.arange(1, 11) for hz in only.tones_hz)
    samples = only.rendered(RATE)[:, 0]
    seconds = np.arange(len(samples)) / RATE

    def level(hz):
        return np.abs((samples * np.hanning(len(samples))) @ np.exp(-2j * np.pi * hz * seconds))

    loudest = max(level(low[4]), level(high[3]))
    assert [len(tone) for tone in rungs(whole)] == [10, 10]
    assert [[rung.meets for rung in tone] for tone in rungs(only)] == [[True], [True]]
    assert rungs(only)[0][0] == rungs(whole)[0][4]
    assert all(level(hz) < loudest / 100 for hz in (*low[:4], *low[5:], *high[:3], *high[4:]))


@pytest.mark.parametrize("step", SHIPPED)
def test_every_step_asks_and_an_answer_of_its_form_is_right(step):
    question = step.question
    if question.answers:
        assert question.right in range(len(question.answers))
        assert len(set(question.answers)) == len(question.answers) >= 2
        assert question.verdict((question.right + 1) % len(question.answers)).endswith(question.because)
    else:
        assert question.is_right(question.right)
        assert not question.is_right(question.right + 40)
        assert question.verdict(question.right).startswith("Yes: you ")


def test_what_is_said_of_the_beats_is_what_sounds():
    """Measured in the sound itself: the third of the piano, the pure one, and the same error an octave up."""
    steps = lesson("hearing-beats").steps
    piano, pure, _ = steps[3].sounds
    low, high = steps[5].sounds
    for sound in (piano, low, high):
        (beat,) = sound.beats()
        measured = coincident_swell(sound.rendered(RATE)[:, 0].astype(float), beat, *sound.tones_hz)
        assert measured == pytest.approx(beat.beats_per_second, abs=0.02)

    assert piano.beats()[0].beats_per_second == pytest.approx(8.7, abs=0.05)  # Teki et al. (2012), A3-C#4
    assert pure.beats()[0].beats_per_second == pytest.approx(0, abs=1e-9)
    assert high.beats()[0].beats_per_second == pytest.approx(2 * low.beats()[0].beats_per_second)


def test_a_beat_slows_from_eight_a_second_to_none():
    """The last second of the sound, measured, stands still; the first beats eight times."""
    sound = lesson("hearing-beats").steps[2].sounds[0]
    made = sound.rendered(RATE)[:, 0].astype(float)

    assert sound.beats()[0].beats_per_second == pytest.approx(8)
    assert sound.beats(of_the_goal=True)[0].beats_per_second == pytest.approx(0, abs=1e-9)
    end = made[-RATE - 3840 : -3840]
    t = (np.arange(len(end)) + len(made) - RATE - 3840) / RATE
    quarters = [
        np.abs(np.mean((end * np.exp(-2j * np.pi * 1100 * t))[k * 12000 : (k + 1) * 12000])) for k in range(4)
    ]
    assert max(quarters) / min(quarters) < 1.02


def test_the_picture_marks_the_partials_that_meet():
    sound = lesson("hearing-beats").steps[3].sounds[0]
    lower, upper, words = ladder(sound, 79)

    assert (len(lower), len(upper)) == (79, 79)
    assert [one.count("|") + one.count("◆") for one in (lower, upper)] == [10, 10]
    assert lower[: lower.index("◆")].count("|") == 4  # partial 5 of A3
    assert upper[: upper.index("◆")].count("|") == 3  # partial 4 of C#4
    assert words == "A3 and C#4: partials 5 and 4, at 1104 Hz: 8.7 beats a second, wide"


def test_the_picture_in_time_swells_as_the_sound_does():
    """A fifth that is 2 beats a second wide for 4 seconds swells 8 times; one that is pure stands still."""
    sound = lesson("hearing-beats").steps[3].sounds[1]
    slow = replace(
        sound, names=("low", "high"), tones_hz=(220.0, 331.0), glide_to_hz=(220.0, 331.0), seconds=4.0
    )
    (pure,) = swells(sound, 79)
    (beating,) = swells(slow, 214)
    level = np.array([" ▁▂▃▄▅▆▇█".index(cell) for cell in beating.removeprefix("low and high")[2:]]) - 4.5

    assert set(pure.removeprefix("A3 and 5:4").strip()) == {"█"}
    assert np.sum((level[1:] > 0) & (level[:-1] < 0)) == 8


def test_a_beat_too_fast_for_the_eye_is_grey_and_slows_until_it_is_seen():
    (line,) = swells(lesson("hearing-beats").steps[2].sounds[0], 79)
    cells = line.removeprefix("220 and 277").strip()

    assert cells.startswith("▒" * 10)
    assert "▒" not in cells[-15:]
    assert len(set(cells[-4:])) == 1  # the last second stands still


def test_where_the_tones_are_said_to_be_is_where_they_are():
    """Half way through the glide, the upper tone of the sound, measured against what is said of it."""
    sound = lesson("hearing-beats").steps[2].sounds[0]
    made = sound.rendered(RATE)[:, 0].astype(float)
    around = slice(9 * RATE - RATE // 2, 9 * RATE + RATE // 2)
    ((_, upper),) = sound.hz_at(np.array([9.0])).T

    assert hz_of(made[around], RATE, upper, width_hz=8) == pytest.approx(upper, abs=0.02)


ANSWERS = """answers = ["yes", "no"]
  right = 1"""
MINE = """
title = "Mine"
[[steps]]
title = "One"
say = "Listen."
  [[steps.sounds]]
  caption = "a fifth"
  tones = ["A3", "3:2"]
  seconds = 2
  [steps.question]
  ask = "Pure?"
  answers = ["yes", "no"]
  right = 1
  because = "It stands still."
"""


def test_a_teacher_writes_a_lesson(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(MINE)
    (step,) = lesson(str(path)).steps

    assert step.sounds[0].tones_hz == pytest.approx((220, 330))
    assert step.question.answers[int(step.question.right)] == "yes"


def level_at(samples, hz):
    """The level of a partial, in dB."""
    turns = np.exp(-2j * np.pi * hz * np.arange(len(samples)) / RATE) * np.hanning(len(samples))
    return 20 * np.log10(2 * np.abs(turns @ samples) / (len(samples) / 2) + 1e-9)


@pytest.mark.parametrize("slope", [-12, -6, -1])
def test_a_partial_alone_is_as_loud_as_in_its_tone(slope):
    """Whatever the timbre: one that falls steeply is turned down as a whole, and so is its partial alone."""
    (tone, fading, alone, *_) = lesson("hearing-beats").steps[0].sounds
    tone, fading, alone = (
        replace(one, timbre=Timbre.sloped(10, slope), seconds=4.0) for one in (tone, fading, alone)
    )
    made = {one: one.rendered(RATE)[:, 0].astype(float) for one in (tone, alone, fading)}
    middle = slice(round(1.5 * RATE) + 4800, round(2.5 * RATE) - 4800)
    there = level_at(made[tone][middle], 1100.0)
    assert [len(rungs(tone)[0]), len(rungs(alone)[0])] == [10, 1]  # and so it is drawn

    assert level_at(made[alone][middle], 1100.0) == pytest.approx(there, abs=0.05)
    assert level_at(made[alone][middle], 220.0) < there - 60
    assert level_at(made[fading][middle], 1100.0) < there - 60
    for end in (slice(4800, RATE - 4800), slice(3 * RATE + 4800, 4 * RATE - 9600)):
        assert level_at(made[fading][end], 1100.0) == pytest.approx(there, abs=0.1)
    assert level_at(made[fading][middle], 660.0) == pytest.approx(
        level_at(made[tone][middle], 660.0), abs=0.05
    )


def test_a_sound_goes_on_while_its_question_stands():
    """A third that stays is held, and beats as it did after twice its length; a glide begins again."""
    third = lesson("hearing-beats").steps[1].sounds[1]
    held, out = third.lasting(RATE), np.empty((14 * RATE, 2), dtype=np.float32)
    held.pull(out)
    late = out[-6 * RATE :, 0].astype(float)
    assert abs(beat_of(late, RATE, 1100.0)) == pytest.approx(third.beats()[0].beats_per_second, abs=0.05)
    assert np.abs(out).max() <= held.peak
    assert held.rms == pytest.approx(np.sqrt(2 * np.mean(np.square(late))), rel=0.1)

    glide = replace(lesson("hearing-beats").steps[2].sounds[0], seconds=2.0)
    again, out = glide.lasting(RATE), np.empty((5 * RATE, 2), dtype=np.float32)
    again.pull(out)
    length = round(2.2 * RATE)
    assert np.array_equal(out[:length], out[length : 2 * length])


def test_a_tone_that_is_set_ends_where_the_question_has_it():
    """2 beats a second wide of E3 and a fifth partial above: 4 * high - 5 * low = 2."""
    step = lesson("from-one-tone").steps[3]
    sound = step.sounds[step.question.about]
    set_hz = sound.tones_hz[1] * 2 ** (-sound.off_cents / 1200)
    held, out = HeldTones(sound, RATE), np.empty((4 * RATE, 2), dtype=np.float32)
    held.move(-sound.off_cents)
    held.pull(out)

    assert 4 * set_hz - 5 * sound.tones_hz[0] == pytest.approx(2.0)
    assert hz_of(out[RATE:, 0].astype(float), RATE, set_hz, width_hz=8) == pytest.approx(set_hz, abs=0.02)
    assert step.question.is_right(-3.0)
    assert not step.question.is_right(3.1)


def test_what_is_counted_and_tapped_follows_from_the_sound():
    """A fifth above A3, 2.4 cents wide: 2 * 330 * 2^(2.4/1200) - 3 * 220 = 0.916 a second."""
    count = lesson("hearing-beats").steps[4].question
    tap = lesson("hearing-beats").steps[1].question

    assert count.right == pytest.approx(9.16, abs=0.01)
    assert tap.right == pytest.approx(1100 * (2 ** (3 / 1200) - 1))
    assert [count.is_right(beats) for beats in (8, 9, 10, 11)] == [False, True, True, False]
    assert [tap.is_right(tap.right * part) for part in (0.89, 0.91, 1.09, 1.11)] == [False, True, True, False]


def test_the_drop_of_a_lesson_is_that_of_its_cabinet():
    """Strings 6, 5 and 4 with A and B, as the program has them with demo-soft-cabinet."""
    e9 = presets.instrument("e9-ten-string")
    state = e9.state({"A": 1.0, "B": 1.0})
    cabinet = presets.drop("demo-soft-cabinet")
    grip = e9.grip_of((6, 5, 4), state)
    tones = tones_of_grip(e9, grip, state, 0.0, presets.temperament("equal"), cabinet, 440.0)
    sagged = [tone.drop_cents for tone in sorted(tones, key=lambda tone: tone.hz)]
    sound = lesson("drop-in-a-grip").steps[0].sounds[1]

    assert cents_between(sound.tones_hz, sound.glide_to_hz) == pytest.approx(sagged, abs=0.051)


def test_his_own_folder_is_looked_in(own_folder):
    (own_folder / "lessons").mkdir(parents=True)
    (own_folder / "lessons" / "mine.toml").write_text(MINE)

    assert lesson("mine").title == "Mine"
    assert "mine" in presets.names(KIND)


WRONG = {
    "no answer": ("right = 1", "right = 3", r"line 13, row 1 of steps, question, right: right = 3 is"),
    "a note that there is not": ('"A3"', '"H3"', r'line 8, row 1 of steps, row 1 of sounds, tones: .*H3'),
    "a ratio of nothing": ('"3:2"', '"0:2"', r"line 8, row 1 of steps, row 1 of sounds, tones: "),
    "a form that there is not": ("right = 1", 'by = "hum"', "row 1 of steps, question, by"),
    "no answers to choose from": ('answers = ["yes", "no"]', "", "question, answers: .* needs two answers"),
    "an answer that is worked out": ("right = 1", 'by = "count"', "takes no answers; leave it out"),
    "a rate of what is chosen": ("right = 1", "right = 1\nbeats_per_second = 2", "takes no beats_per_second"),
    "a sound that there is not": ("right = 1", "right = 1\nsound = 2", "line 14, .*2 is not a sound"),
    "a count of what stands still": (ANSWERS, 'by = "count"', "beats 0.00 times a second"),
    "a tone too high to sing": (ANSWERS, 'by = "sing"\npartial = 9', "partial: 1980 Hz is too high to sing"),
    "a partial that there is not": ("seconds = 2", "seconds = 2\nfade_partial = 12", "fade_partial: .*10"),
    "a fade of a glide": (
        "seconds = 2", 'seconds = 2\nfade_partial = 2\nglide_to = ["A3", "5:4"]', "fade_partial: .*stays",
    ),
    "a tone too high to play": ('"3:2"', '"99999"', "between 20 and 5000"),
    "a glide of too many": ("seconds = 2", 'seconds = 2\nglide_to = ["A3"]', "one goal for each of the 2"),
    "too short": ("seconds = 2", "seconds = 0", "row 1 of steps, row 1 of sounds, seconds"),
    "a word for a number": ("seconds = 2", 'seconds = "2"', "row 1 of steps, row 1 of sounds, seconds"),
    "a field that there is not": ("seconds = 2", "seconds = 2\nloud = true", "loud"),
    "no steps": (MINE, 'title = "Mine"\nsteps = []', "steps"),
    "a key twice": ('title = "One"', 'title = "One"\ntitle = "Two"', "overwrite"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_a_mistake_is_one_line_with_file_and_field(tmp_path, case):
    right, wrong, message = WRONG[case]
    path = tmp_path / "mine.toml"
    path.write_text(MINE.replace(right, wrong))

    with pytest.raises(BadPreset, match=message) as caught:
        lesson(str(path))
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(MINE) - 1), st.integers(0, 30), st.text(max_size=12))
def test_any_change_to_a_file_is_a_lesson_or_that_one_error(tmp_path_factory, at, cut, put):
    path = tmp_path_factory.getbasetemp() / "any-lesson.toml"
    path.write_text(MINE[:at] + put + MINE[at + cut :], encoding="utf-8", errors="surrogatepass")
    refused = ""
    try:
        assert lesson(str(path)).steps
    except BadPreset as error:
        refused = str(error)

    assert "\n" not in refused
