"""A tuning order as sound files: each beats as the list says, and nothing half done is left."""

import csv

import pytest
import soundfile

from tests.measure import beat_of, hz_of
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue, CannotWrite
from tonegen.instrument import TuningPoint
from tonegen.order.plan import tuning_order
from tonegen.order.walk import Listening
from tonegen.presets import instrument, timbre
from tonegen.sound import steps
from tonegen.sound.steps import LIST, write_steps
from tonegen.synthesis.player import QUIET_LEVEL_DBFS
from tonegen.temperament import EQUAL

FIVE, FIVE_A, FOUR = TuningPoint(5), TuningPoint(5, ("A",)), TuningPoint(4)


def place(*points):
    """At the beginning of a short plan; equal temperament, 440 Hz."""
    plan = tuning_order(instrument("e9-ten-string"), EQUAL, NO_DROP, 440.0, points=points)
    return Listening(plan, 440.0)


def write(folder, *points, **how):
    return write_steps(folder, place(*points), timbre("string"), QUIET_LEVEL_DBFS, **how)


def listed(folder):
    with (folder / LIST).open(newline="") as file:
        return list(csv.DictReader(file))


def names_in(folder):
    return {path.name for path in folder.iterdir()}


def test_each_step_is_a_file_that_beats_as_the_list_says(tmp_path):
    folder = tmp_path / "steps"
    names = write(folder, FOUR, FIVE, FIVE_A)

    rows, plan = listed(folder), place(FOUR, FIVE, FIVE_A).plan
    assert names_in(folder) == set(names) == {
        *(row["file"] for row in rows), "tone-E4.wav", "tone-Csharp4.wav", LIST
    }  # fmt: skip
    assert [row["file"] for row in rows] == [
        "01-string-4-open.wav", "02-string-5-open.wav", "03-string-5-with-A.wav",
    ]  # fmt: skip
    assert [(row["number"], row["tune"], row["note"]) for row in rows] == [
        ("1", "string 4 open", "E4"), ("2", "string 5 open", "B3"), ("3", "string 5 with A", "C#4"),
    ]  # fmt: skip
    assert [row["engaged"] for row in rows] == ["open", "open", "A"]
    for row, step in zip(rows, plan.steps, strict=True):
        assert row["count"] == step.count
        sound, rate = soundfile.read(folder / row["file"])
        assert (sound.ndim, len(sound)) == (1, 12 * rate)
        wanted = float(row["beats_per_second"])
        assert wanted == step.beats_per_second
        assert float(row["tune_hz"]) == (step.high_hz if step.tune_is_high else step.low_hz)
        heard = beat_of(sound[rate:-rate], rate, float(row["listen_hz"]), width_hz=60)
        assert heard == pytest.approx(abs(wanted), abs=0.02)


def test_a_tone_that_is_tuned_to_is_a_file_of_its_own(tmp_path):
    """E4 is 329.63 Hz (the pitch standard, ISO 16, and twelve equal semitones)."""
    write(tmp_path, FIVE)

    (row,) = listed(tmp_path)
    assert (row["against"], row["against_file"]) == ("tone B3", "tone-B3.wav")
    sound, rate = soundfile.read(tmp_path / "tone-B3.wav")
    assert hz_of(sound, rate, 246.94, width_hz=5) == pytest.approx(246.9417, abs=1e-3)
    third = 3 * 246.94165  # that of the string lies sharp of it
    assert hz_of(sound, rate, third, width_hz=5) == pytest.approx(third, abs=2e-3)
    assert float(row["beats_per_second"]) > 0.02


def test_what_is_there_is_kept_without_force_and_replaced_with_it(tmp_path, monkeypatch):
    (tmp_path / "mine.wav").write_bytes(b"mine")
    write(tmp_path, FOUR, FIVE)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(CannotWrite, match=r"01-string-4-open.wav: already exists; .*--force"):
        write(tmp_path, FOUR, FIVE)
    rendered = []
    with monkeypatch.context() as patch:
        patch.setattr(steps, "write", lambda path, *rest, **how: rendered.append(path))
        with pytest.raises(CannotWrite, match=r"steps.csv: already exists"):
            write(tmp_path, FIVE)
    assert not rendered, "what cannot be ended is not begun"
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before

    names = write(tmp_path, FIVE, force=True)
    assert names_in(tmp_path) == {*names, "mine.wav"}, "an earlier list's sounds are gone"


def test_a_list_that_names_what_is_not_ours_removes_nothing(tmp_path):
    (tmp_path / "in").mkdir()
    for kept in ("song.flac", "my take.wav"):
        (tmp_path / "in" / kept).write_bytes(b"mine")
    (tmp_path / "other.wav").write_bytes(b"mine")
    (tmp_path / "in" / LIST).write_text("file,against_file\r\nsong.flac,../other.wav\r\nmy take.wav,\r\n")
    write(tmp_path / "in", FIVE, force=True)

    assert {"song.flac", "my take.wav"} <= names_in(tmp_path / "in")
    assert (tmp_path / "other.wav").exists()
    (tmp_path / "in" / LIST).write_bytes(b"\xff\xfe\x00")
    write(tmp_path / "in", FIVE, force=True)
    assert len(listed(tmp_path / "in")) == 1


@pytest.mark.parametrize("made_before", [False, True])
def test_a_disk_that_fails_leaves_nothing_new(tmp_path, monkeypatch, made_before):
    folder = tmp_path / "steps"
    if made_before:
        folder.mkdir()
        (folder / "mine.wav").write_bytes(b"mine")
    really, left = steps.write, iter([True, True, False])

    def failing(path, *rest, **how):
        if not next(left):
            raise CannotWrite(f"{path}: the disk is full")
        return really(path, *rest, **how)

    monkeypatch.setattr(steps, "write", failing)
    with pytest.raises(CannotWrite, match="the disk is full"):
        write(folder, FOUR, FIVE)
    assert folder.exists() == made_before
    if made_before:
        assert names_in(folder) == {"mine.wav"}


def test_a_folder_that_cannot_be_made_and_a_level_too_high_are_refused(tmp_path):
    (tmp_path / "file").write_text("")
    for wrong in (tmp_path / "file", tmp_path / "none" / "steps"):
        with pytest.raises(CannotWrite, match=r"cannot be made: .*; choose another place"):
            write(wrong, FIVE)
    with pytest.raises(BadValue, match="level"):
        write_steps(tmp_path / "loud", place(FIVE), timbre("string"), 20.0)
    assert not (tmp_path / "loud").exists()


def test_the_command_writes_them(tonegen, tmp_path):
    line = f"tonegen order c6-swing-band --temperament equal --out-folder {tmp_path / 'steps'}"
    told = tonegen(f"{line} --json")

    assert [row["number"] for row in listed(tmp_path / "steps")] == [str(n) for n in range(1, 28)]
    assert [float(row["beats_per_second"]) for row in listed(tmp_path / "steps")] == [
        step["beats_per_second"] for step in told.json["steps"]
    ]
    assert "sounds written, listed in steps.csv" in told.err
    assert "already exists; give another name, or --force" in tonegen.refused(line)
