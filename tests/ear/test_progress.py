"""Progress over days: gathered as the calendar, the interval and the register say, and drawn."""

from datetime import date

import pytest

from tonegen.ear.panels import panels, spread_out
from tonegen.ear.picture import write_progress
from tonegen.ear.progress import by_day, octave_of
from tonegen.ear.rows import Row
from tonegen.ear.words import by_eye_in_words
from tonegen.errors import BadValue, CannotWrite

DAY = "2026-03-01T23:30:00.000+01:00"
NEXT = "2026-03-02T00:30:00.000+01:00"


def asked(low_hz, high_hz):
    """As much of a trial that is kept as says where its lowest tone may lie."""
    return f'{{"task": {{"low_hz": [{low_hz}, {high_hz}]}}}}'


def row(number, **changed):
    usual = {
        "person": "Ada", "session": 1, "number": number, "answered": DAY, "kind": "purer",
        "interval": "fifth", "low_hz": 220.0, "level_cents": 8.0, "seed": 1, "answer": 0.0, "right": True,
        "error": None, "trial": asked(165.0, 330.0),
    }  # fmt: skip
    return Row(**{**usual, **changed})


def test_days_are_those_on_the_wall_where_they_were_answered():
    """Half past eleven in the evening, and half past midnight, east of Greenwich: one UTC day, two days."""
    days = by_day([row(0), row(1, answered=NEXT)])

    assert [(day.day, day.trials) for day in days] == [(date(2026, 3, 1), 1), (date(2026, 3, 2), 1)]


def test_intervals_registers_and_kinds_are_kept_apart():
    days = by_day(
        [row(0), row(1, interval="major third"), row(2, trial=asked(82.4, 164.8)), row(3, kind="abx"), row(4)]
    )

    assert sorted((day.kind.value, day.interval, day.register, day.trials) for day in days) == [
        ("abx", "fifth", "E3 to E4", 1),
        ("purer", "fifth", "E2 to E3", 1),
        ("purer", "fifth", "E3 to E4", 2),
        ("purer", "major third", "E3 to E4", 1),
    ]


def test_sides_told_before_a_sound_could_be_nudged_are_a_line_by_themselves():
    """They were told of a sound that ended; now it goes on. Other kinds have an end now as then."""
    kinds = {"kind": "side"}, {"kind": "side", "sound_seconds": 2.1}, {"kind": "purer", "sound_seconds": 2.1}
    days = by_day([row(number, **changed) for number, changed in enumerate(kinds)])

    assert sorted((day.kind.value, day.register) for day in days) == [
        ("purer", "E3 to E4"),
        ("side", "E3 to E4"),
        ("side", "E3 to E4, not nudged"),
    ]


def test_a_register_is_the_one_that_was_asked_for():
    """E3 = 164.8, C4 = 261.6 Hz: tones below and above C4 that one plan asked for stay together.

    Where what was asked can no longer be read, the octave of the tone itself is said.
    """
    (day,) = by_day([row(0, low_hz=170.0), row(1, low_hz=320.0)])
    (spoilt,) = by_day([row(0, low_hz=170.0, trial="{")])

    assert (day.register, day.trials) == ("E3 to E4", 2)
    assert spoilt.register == "C3 to B3"


def test_what_was_answered_by_eye_is_not_counted_as_heard():
    rows = [row(0, by_ear=True), row(1, by_ear=False), row(2, by_ear=None)]
    (day,) = by_day(rows)

    assert day.trials == 2  # one that was heard, one from before that was noted
    assert by_eye_in_words(rows) == "1 answer was given by eye, without sound; they do not count here."
    assert by_eye_in_words(rows[::2]) == ""


@pytest.mark.parametrize(
    ("hz", "register"), [(130.82, "C3 to B3"), (246.9, "C3 to B3"), (261.63, "C4 to B4"), (27.5, "C0 to B0")]
)
def test_registers_are_octaves_from_c(hz, register):
    """C3 = 130.81, B3 = 246.94, C4 = 261.63, A0 = 27.5 Hz: ISO 16 and equal temperament."""
    assert octave_of(hz) == register


def test_a_finer_ear_has_a_lower_threshold():
    asked = [(level, guess) for guess in (True, False) * 4 for level in (30, 20, 12, 8, 4, 2, 1)]
    coarse = [row(n, level_cents=level, right=level > 10 or guess) for n, (level, guess) in enumerate(asked)]
    fine = [
        row(n, answered=NEXT, level_cents=level, right=level > 2 or guess)
        for n, (level, guess) in enumerate(asked)
    ]
    first, second = by_day(coarse + fine)

    assert 8 < first.threshold.value < 12
    assert 2 < second.threshold.value < 4
    assert second.threshold.high < first.threshold.low


def test_settings_and_scores():
    set_pure = [row(n, kind="set", right=None, error=error) for n, error in enumerate((1.0, 3.0))]
    named = [row(n, kind="name", right=n > 0) for n in range(4)]
    alone = [row(9, kind="match", right=None, error=2.0)]
    days = {day.kind.value: day for day in by_day(set_pure + named + alone)}

    assert days["name"].proportion.value == 0.75
    assert (days["match"].settings, days["match"].threshold) == (None, None)
    assert days["set"].settings.constant_error.value == 2


def test_a_blind_test_at_one_level_is_counted_and_not_taken_for_a_threshold():
    """The session says so many right at 5 cents; so does its day."""
    rows = [row(n, kind="abx", level_cents=5.0, right=n < 12) for n in range(16)]
    (day,) = by_day(rows)
    (panel,) = panels([day])
    ((label, (point,)),) = panel.lines.items()

    assert (day.threshold, day.level_cents, day.proportion.value) == (None, 5.0, 0.75)
    assert panel.title == "Right answers, in percent"
    assert label == "fifth, E3 to E4 (abx at 5 cents)"
    # Exact binomial range of 12 in 16 (Clopper & Pearson 1934), from memory: 48 % to 93 %.
    assert [round(value) for value in (point.low, point.value, point.high)] == [48, 75, 93]


def test_a_few_answers_say_nothing_of_an_ear():
    (day,) = by_day([row(n, level_cents=8.0 / (n + 1)) for n in range(4)])

    assert (day.trials, day.threshold, day.proportion) == (4, None, None)
    assert panels([day]) == ()


def test_the_picture_is_a_png_of_every_line(tmp_path):
    rows = [row(n, level_cents=2.0 + n, answered=when) for when in (DAY, NEXT) for n in range(20)]
    rows += [row(n, kind="set", right=None, error=float(n)) for n in range(3)]
    rows += [row(n, kind="rate", right=None, error=float(n)) for n in range(3)]
    write_progress(by_day(rows), tmp_path / "ada.png", "Ada")
    from PIL import Image

    with Image.open(tmp_path / "ada.png") as picture:
        assert picture.size == (1040, 1300)  # three panels, 3 inches each, and a title, at 130 dots an inch
        assert len(picture.convert("L").getcolors()) > 20


def test_days_are_named_as_far_as_there_is_room():
    march = [date(2026, 3, day) for day in range(1, 32)]

    assert spread_out(march[:1]) == march[:1]
    assert spread_out([march[0], march[3], march[6]]) == [march[0], march[3], march[6]]
    assert [day.day for day in spread_out(march)] == [1, 7, 13, 19, 25, 31]


def test_a_picture_of_nothing_or_over_something_is_refused(tmp_path):
    (tmp_path / "there.png").write_bytes(b"kept")
    days = by_day([row(n, kind="set", right=None, error=float(n)) for n in range(3)])

    with pytest.raises(BadValue, match="nothing to draw yet"):
        write_progress(by_day([row(0)]), tmp_path / "none.png", "Ada")
    with pytest.raises(CannotWrite, match="already exists"):
        write_progress(days, tmp_path / "there.png", "Ada")
    assert (tmp_path / "there.png").read_bytes() == b"kept"
    assert [file.name for file in tmp_path.iterdir()] == ["there.png"]
