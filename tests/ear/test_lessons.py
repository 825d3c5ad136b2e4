"""Lessons: what they say of the beats is what sounds, and a mistake in a teacher's file is one line."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure import hz_of
from tonegen import presets
from tonegen.ear.lesson import KIND, ladder, lesson, rungs, swells
from tonegen.ear.rendering import MADE_FOR_DBFS
from tonegen.errors import BadPreset

RATE = 48000
SHIPPED = [
    pytest.param(step, id=f"{name}: {step.title}")
    for name in ("hearing-beats", "in-the-band")
    for step in lesson(name).steps
]


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
    assert {"hearing-beats", "in-the-band"} <= set(presets.names(KIND))


@pytest.mark.parametrize("step", SHIPPED)
def test_every_step_sounds_quietly_from_silence_to_silence(step):
    for sound in step.sounds:
        made = sound.rendered(RATE)

        assert len(made) == round(sound.seconds * RATE)
        assert 0.006 < np.abs(made).max() < 1.001 * 10 ** (MADE_FOR_DBFS / 20)
        assert np.abs(made[:5]).max() < 1e-3
        assert np.abs(made[-5:]).max() < 1e-3


def test_the_picture_holds_the_partials_that_sound_and_no_others():
    """Of the whole third ten of each tone; of `only_beating` the two that meet, and the rest is silent."""
    whole, only, _ = lesson("hearing-beats").steps[1].sounds
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
def test_every_step_asks_and_has_one_right_answer_among_some(step):
    assert step.question.right in range(len(step.question.answers))
    assert len(set(step.question.answers)) == len(step.question.answers) >= 2


def test_what_is_said_of_the_beats_is_what_sounds():
    """Measured in the sound itself: the third of the piano, the pure one, and the same error an octave up."""
    steps = lesson("hearing-beats").steps
    piano, pure, _ = steps[3].sounds
    low, high = steps[4].sounds
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
    assert step.question.answers[step.question.right] == "yes"


def test_his_own_folder_is_looked_in(own_folder):
    (own_folder / "lessons").mkdir(parents=True)
    (own_folder / "lessons" / "mine.toml").write_text(MINE)

    assert lesson("mine").title == "Mine"
    assert "mine" in presets.names(KIND)


WRONG = {
    "no answer": ("right = 1", "right = 3", r"steps\[0\].question: right = 3 is not one of the answers"),
    "a note that there is not": ('"A3"', '"H3"', r'steps\[0\].sounds\[0\]: .*H3'),
    "a ratio of nothing": ('"3:2"', '"0:2"', r"steps\[0\].sounds\[0\]: "),
    "a tone too high to play": ('"3:2"', '"99999"', "between 20 and 5000"),
    "a glide of too many": ("seconds = 2", 'seconds = 2\nglide_to = ["A3"]', "one goal for each of the 2"),
    "too short": ("seconds = 2", "seconds = 0", r"steps\[0\].sounds\[0\].seconds"),
    "a word for a number": ("seconds = 2", 'seconds = "2"', r"steps\[0\].sounds\[0\].seconds"),
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
