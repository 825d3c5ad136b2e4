"""Audio files: what is in them, and that nothing half written is left."""

import os
import shutil
import subprocess
import sys
from collections import namedtuple

import numpy as np
import pytest
import soundfile

from tests.measure import beat_of, hz_of
from tonegen.errors import BadValue, CannotWrite
from tonegen.sound.files import SampleFormat, write
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import QUIET_LEVEL_DBFS, Player
from tonegen.synthesis.timbre import Timbre, Tone

RATE = 48000


def player(*hz, **settings):
    made = Player(RATE, columns=FILE_COLUMNS, **settings)
    made.set([Tone(each, Timbre.sloped(8, -4.0)) for each in hz or (220.0, 275.6)])
    return made


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize(
    ("name", "sample_format", "subtype"),
    [
        ("a.wav", SampleFormat.PCM_16, "PCM_16"),
        ("a.wav", SampleFormat.PCM_24, "PCM_24"),
        ("a.WAV", SampleFormat.FLOAT_32, "FLOAT"),
        ("a.flac", SampleFormat.PCM_16, "PCM_16"),
        ("a.flac", SampleFormat.PCM_24, "PCM_24"),
    ],
)
def test_a_file_holds_the_tones(tmp_path, name, sample_format, subtype):
    path = tmp_path / name

    frames = write(path, player(), 20, sample_format=sample_format)

    info = soundfile.info(path)
    assert (info.frames, info.samplerate, info.channels, info.subtype) == (frames, RATE, 2, subtype)
    assert frames == 20 * RATE
    left, right = soundfile.read(path)[0].T
    assert np.abs(left - right).max() <= 2**-14  # each within one and a half steps of 16 bits
    assert beat_of(left[RATE:-RATE], RATE, 1100, width_hz=30) == pytest.approx(2.4, abs=0.002)
    assert hz_of(left, RATE, 275.6, width_hz=8) == pytest.approx(275.6, abs=1e-4)
    assert names_in(tmp_path) == [name]


def test_a_file_starts_and_ends_in_silence(tmp_path):
    write(tmp_path / "a.wav", player(), 3, sample_format=SampleFormat.FLOAT_32, fade_out_seconds=1.0)

    sound = np.abs(soundfile.read(tmp_path / "a.wav")[0][:, 0])
    loudest = sound.max()
    assert sound[:480].max() < 0.01 * loudest
    assert sound[-480:].max() < 0.01 * loudest
    assert sound[-RATE // 2 :].max() < 0.6 * loudest < sound[: 2 * RATE].max()


def test_the_same_sound_makes_the_same_file(tmp_path):
    for name in ("a.wav", "b.wav"):
        write(tmp_path / name, player(), 1)

    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()


def test_dither_makes_rounding_a_hiss_that_knows_nothing_of_the_tone(tmp_path):
    """A tone of a third of a 16-bit step is still there, and no harmonic of it rises out of the hiss.

    The hiss of triangular dither and rounding has a variance of 1/6 + 1/12 of a squared step.
    """
    faint = player(1000.0, channels=1, level_dbfs=20 * np.log10(0.33 / 2**15))
    faint.set([Tone(1000.0, name="0")])
    write(tmp_path / "a.wav", faint, 60, sample_format=SampleFormat.PCM_16)

    steps = soundfile.read(tmp_path / "a.wav")[0][RATE:-RATE] * 2**15
    spectrum = 2 * np.abs(np.fft.rfft(steps)) / len(steps)
    seconds = len(steps) // RATE
    assert spectrum[1000 * seconds] == pytest.approx(0.33, abs=0.005)
    assert max(spectrum[n * 1000 * seconds] for n in range(2, 12)) < 0.005
    assert np.var(steps) - 0.33**2 / 2 == pytest.approx(1 / 4, rel=0.01)
    assert steps.mean() == pytest.approx(0, abs=0.002)


def test_progress_counts_the_seconds(tmp_path):
    seen = []

    write(tmp_path / "a.wav", player(), 10, progress=seen.append)

    assert seen == sorted(seen)
    assert seen[-1] == 10
    assert len(seen) > 2


def test_an_existing_file_stays_unless_forced(tmp_path):
    path = tmp_path / "a.wav"
    path.write_bytes(b"mine")

    with pytest.raises(CannotWrite, match="--force"):
        write(path, player(), 1)
    assert path.read_bytes() == b"mine"

    write(path, player(), 1, force=True)
    assert soundfile.info(path).frames == RATE


@pytest.mark.parametrize("failure", [KeyboardInterrupt, RuntimeError])
def test_what_is_interrupted_leaves_nothing(tmp_path, failure):
    """Not the part, and the file that was to be replaced is what it was."""
    path = tmp_path / "a.flac"
    path.write_bytes(b"mine")

    def interrupt(seconds):
        if seconds > 4:
            raise failure

    with pytest.raises(failure):
        write(path, player(), 60, force=True, progress=interrupt)

    assert names_in(tmp_path) == ["a.flac"]
    assert path.read_bytes() == b"mine"


def limited(largest_bytes, code, *arguments):
    """Run code in a fresh interpreter that may write no larger file, as on a disk that is full."""
    limit = (
        "import resource, signal\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({largest_bytes}, {largest_bytes}))\n"
    )
    return python(limit + code, *arguments)


def python(code, *arguments):
    return subprocess.run(
        [sys.executable, "-B", "-c", code, *arguments], capture_output=True, text=True, check=True
    ).stdout


WRITE = """
import sys
from pathlib import Path
from tonegen.errors import CannotWrite
from tonegen.synthesis.player import Player
from tonegen.sound.files import write
from tonegen.synthesis.timbre import Tone
player = Player(48000)
player.set([Tone(220.0), Tone(275.6)])
try:
    write(Path(sys.argv[1]), player, 20, force=True)
    print("whole")
except CannotWrite as refusal:
    print(refusal)
"""


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_a_disk_that_fails_while_writing(tmp_path, name):
    """The system refuses in the middle of the file, or at its last bytes, when it is closed."""
    path = tmp_path / name
    assert limited(10**9, WRITE, str(path)) == "whole\n"
    size = path.stat().st_size
    path.write_bytes(b"mine")

    for room in (size // 2, size - 1):
        said = limited(room, WRITE, str(path))

        assert "nothing was saved" in said
        assert said.count("\n") == 1
        assert names_in(tmp_path) == [name]
        assert path.read_bytes() == b"mine"


def test_a_disk_that_is_too_small(tmp_path, monkeypatch):
    """Asked before the first byte: 24 hours at 24 bits in two channels are up to 24.9 GB."""
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(100, 90, 24_000_000_000))

    with pytest.raises(CannotWrite, match=r"needs up to 24\.9 GB and the disk has 24\.0 GB free"):
        write(tmp_path / "a.flac", player(), 24 * 3600)
    assert names_in(tmp_path) == []


def test_a_disk_that_is_full_of_what_a_killed_program_left(tmp_path, monkeypatch):
    left = tmp_path / ".tonegen-00c0ffee.part.wav"
    left.write_bytes(b"half")
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(100, 90, 0 if left.exists() else 10**9))

    write(tmp_path / "a.flac", player(), 0.1)
    assert names_in(tmp_path) == ["a.flac"]


def test_what_a_wav_file_cannot_hold(tmp_path):
    """RIFF counts bytes in 32 bits: 5 hours of 24 bits in two channels are 5.2 GB."""
    with pytest.raises(CannotWrite, match=r"5\.2 GB is more than a WAV file can hold .* \.flac"):
        write(tmp_path / "a.wav", player(), 5 * 3600)
    assert names_in(tmp_path) == []


@pytest.mark.parametrize("seconds", [0, -1, 0.05, float("nan"), float("inf"), 3_600_000])
def test_lengths_that_cannot_be_meant(tmp_path, seconds):
    with pytest.raises(BadValue, match="24 hours"):
        write(tmp_path / "a.wav", player(), seconds)


@pytest.mark.parametrize(
    ("name", "sample_format", "error", "says"),
    [
        ("a.mp3", SampleFormat.PCM_16, BadValue, "end the name in .wav or .flac"),
        ("a", SampleFormat.PCM_16, BadValue, "end the name in .wav or .flac"),
        ("a.flac", SampleFormat.FLOAT_32, BadValue, "16 or 24 bits"),
        ("no/where/a.wav", SampleFormat.PCM_16, CannotWrite, "no directory"),
        ("folder.wav", SampleFormat.PCM_16, CannotWrite, "is not a file"),
        ("pipe.wav", SampleFormat.PCM_16, CannotWrite, "is not a file"),
        ("n" * 300 + ".wav", SampleFormat.PCM_16, CannotWrite, "too long"),
    ],
)
def test_places_that_cannot_be_written(tmp_path, name, sample_format, error, says):
    (tmp_path / "folder.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav")

    with pytest.raises(error, match=says) as refusal:
        write(tmp_path / name, player(), 1, sample_format=sample_format, force=True)

    assert "\n" not in str(refusal.value)
    assert names_in(tmp_path) == ["folder.wav", "pipe.wav"]


@pytest.mark.long
def test_ten_minutes_are_streamed_not_held(tmp_path):
    """115 MB of samples; the whole program stays below 100 MB (the kernel's own mark of its highest)."""
    code = """
import re, sys
from pathlib import Path
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import Player
from tonegen.sound.files import SampleFormat, write
from tonegen.synthesis.timbre import Timbre, Tone
player = Player(48000, columns=FILE_COLUMNS)
player.set([Tone(220.0, Timbre.sloped(32, -4.0)), Tone(275.6, Timbre.sloped(32, -4.0))])
write(Path(sys.argv[1]), player, 600, sample_format=SampleFormat.PCM_16)
print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
"""
    kilobytes = int(python(code, str(tmp_path / "a.wav")))

    assert (tmp_path / "a.wav").stat().st_size > 115_000_000
    assert kilobytes < 100_000


def test_the_level_in_the_file_is_the_level_asked_for(tmp_path):
    made = Player(RATE, channels=1)
    made.set([Tone(480.0)])
    write(tmp_path / "a.wav", made, 3, sample_format=SampleFormat.PCM_24)

    peak = np.abs(soundfile.read(tmp_path / "a.wav")[0]).max()
    assert 20 * np.log10(peak) == pytest.approx(QUIET_LEVEL_DBFS, abs=0.01)
