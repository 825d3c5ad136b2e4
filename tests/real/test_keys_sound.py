"""Retuned pitch, measured in the sound of real receivers.

FluidSynth and TiMidity++ (Debian: fluidsynth, timidity, with the font of timgm6mb-soundfont) render what the
command line wrote; each note is measured against the same note untuned, since a font may be cents off by
itself. scsynth (Debian: supercollider-server) is played by OSC.
"""

import json
import os
import socket
import struct
import subprocess
import sys
import time
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from tonegen.keys.osc import Message, decode, encode
from tonegen.keys.scale import scale_of_temperament
from tonegen.presets import temperament

FONT = "/usr/share/sounds/sf2/TimGM6mb.sf2"
RATE = 48000
KEYS = range(60, 72)
NOTE_SECONDS = 1.0
MEANTONE = scale_of_temperament(temperament("quarter-comma-meantone").on(2))

# What FluidSynth is known to do, from its source: pitch is cut to whole cents, and a bend makes 127/128.
HABITS = 'resolution_cents = 1\nrounding = "down"\n'
BENDS = HABITS + "bend_scale = 0.9921875\n"
MEANS = {
    "twelve-channel-bend": BENDS,
    "mpe": BENDS,
    "mono-bend": BENDS,
    "channel-tuning": HABITS,
    "mts-single-note": HABITS,
    "mts-octave": HABITS,
    "mts-octave-one-byte": HABITS,
}


def notes(set_up=()):
    """Twelve notes of a sustained sound, one after the other."""
    file = mido.MidiFile(type=0, ticks_per_beat=480)
    track = mido.MidiTrack()
    track.extend(mido.Message.from_bytes(message) for message in set_up)
    track.append(mido.Message("program_change", program=19))
    for key in KEYS:
        ticks = round(NOTE_SECONDS * 960)
        track.append(mido.Message("note_on", note=key, velocity=90, time=0))
        track.append(mido.Message("note_off", note=key, velocity=0, time=ticks))
    file.tracks.append(track)
    return file


def by_fluidsynth(path, out):
    """Reverb and chorus off, straight to a file."""
    return ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-r", str(RATE),
            "-F", str(out), "-O", "float", "-T", "wav", FONT, str(path)]  # fmt: skip


def by_timidity(path, out):
    """The same. At this rate the font's samples, of 44100 Hz, play no slower than they were taken."""
    config = path.with_suffix(".cfg")
    config.write_text(f"soundfont {FONT}\n")
    return ["timidity", "-c", str(config), "-s", "22050", "-EFreverb=0", "-EFchorus=0",
            "-Ow", "-o", str(out), str(path)]  # fmt: skip


def rendered_hz(path, command=by_fluidsynth):
    """The frequency of each note, from the middle of it."""
    out = path.with_suffix(".wav")
    subprocess.run(command(path, out), check=True, capture_output=True, timeout=60)
    sound, rate = soundfile.read(out, always_2d=True)
    found = []
    for place, key in enumerate(KEYS):
        start = int((place + 0.25) * NOTE_SECONDS * rate)
        middle = sound[start : start + int(0.6 * NOTE_SECONDS * rate), 0]
        found.append(spectral_peak_hz(middle, 4 * 440 * 2 ** ((key - 69) / 12), rate) / 4)
    return np.array(found)


def wait_for_port(server, name):
    """Until a program that was started has its port at the server."""
    for _ in range(200):
        listed = subprocess.run(["jack_lsp"], env=server.environment, capture_output=True, text=True)
        if name in listed.stdout:
            return
        time.sleep(0.1)  # no event tells of another client's port
    raise AssertionError(f"{name} never came")


def spectral_peak_hz(sound, around_hz, rate=RATE):
    """The strongest line within 70 cents: the top of the parabola through a long spectrum's peak.

    An organ's layers beat, so that its phase is no measure; its spectrum is.
    """
    size = 1 << 20
    spectrum = np.log(np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size)) + 1e-12)
    first, last = (int(around_hz * side * size / rate) for side in (0.96, 1.04))
    peak = first + int(spectrum[first:last].argmax())
    left, top, right = spectrum[peak - 1 : peak + 2]
    return (peak + 0.5 * (left - right) / (left - 2 * top + right)) * rate / size


@pytest.fixture(scope="module")
def untuned_hz(tmp_path_factory):
    path = tmp_path_factory.mktemp("untuned") / "in.mid"
    notes().save(path)
    return rendered_hz(path)


@pytest.fixture
def known(tmp_path):
    """A receiver file of the player's own: one that ships, and the habits of his synthesizer."""

    def write(name):
        shipped = Path(__file__).parents[2] / "presets" / "receivers" / f"{name}.toml"
        path = tmp_path / f"{name}.toml"
        path.write_text(shipped.read_text() + "\n" + MEANS[name])
        return path

    return write


@pytest.mark.parametrize("name", MEANS)
def test_the_pitch_of_a_retuned_file(tonegen, tmp_path, known, untuned_hz, name):
    """Each note within half of the receiver's step of one cent, and where the plan said it would be."""
    source, target = tmp_path / "in.mid", tmp_path / "out.mid"
    notes().save(source)
    own = known(name)
    asked = f"--temperament quarter-comma-meantone --root D --receiver {own}"
    assert tonegen(f"tonegen keys file {source} {target} {asked}").code == 0
    keys = tonegen(f"tonegen keys plan {asked} --json").json["keys"]

    moved_cents = 1200 * np.log2(rendered_hz(target) / untuned_hz)

    assert moved_cents == pytest.approx([keys[key]["sent_cents"] for key in KEYS], abs=0.1)
    assert moved_cents == pytest.approx(MEANTONE.key_cents[list(KEYS)], abs=0.6)
    assert np.abs(MEANTONE.key_cents).max() > 15


# What a written table needs besides, where a receiver must be told to use it: RPN 3, program 0.
SELECT = (b"\xb0\x65\x00", b"\xb0\x64\x03", b"\xb0\x06\x00")


def written(tonegen, path, name):
    """The system exclusive messages that the command line wrote, in order."""
    asked = f"--temperament quarter-comma-meantone --root D --receiver {name} --out-syx {path}"
    assert tonegen(f"tonegen keys send {asked}").code == 0
    return [bytes(message.bytes()) for message in mido.read_syx_file(path)]


@pytest.mark.parametrize(("name", "select"), [
    ("mts-single-note", SELECT), ("mts-octave", ()), ("mts-octave-one-byte", ()),
])  # fmt: skip
def test_the_pitch_of_a_synthesizer_sent_a_tuning(tonegen, tmp_path, untuned_hz, name, select):
    """What `keys send` wrote, in front of the untouched notes: cut to whole cents by the synthesizer."""
    path = tmp_path / "sent.mid"
    notes((*select, *written(tonegen, tmp_path / "tuning.syx", name))).save(path)

    moved_cents = 1200 * np.log2(rendered_hz(path) / untuned_hz)

    left = moved_cents - MEANTONE.key_cents[list(KEYS)]
    coarse = 0.5 if name == "mts-octave-one-byte" else 0.0
    assert left.min() > -1.05 - coarse
    assert left.max() < 0.05 + coarse


# TiMidity++ moves through a sample by steps of 12 bits behind the point (its source, resample.h): a frequency
# is right to one step, which is 0.42 cents of a sample that plays as fast as it was taken, and less above.
TIMIDITY_STEP_CENTS = 1200 * np.log2(1 + 2**-12)


@pytest.fixture(scope="module")
def untuned_by_timidity_hz(tmp_path_factory):
    path = tmp_path_factory.mktemp("untuned") / "in.mid"
    notes().save(path)
    return rendered_hz(path, by_timidity)


@pytest.mark.parametrize("way", ["send", "file"])
def test_the_pitch_of_a_synthesizer_that_takes_a_bulk_dump(tonegen, tmp_path, untuned_by_timidity_hz, way):
    source, target = tmp_path / "in.mid", tmp_path / "out.mid"
    if way == "send":
        notes(written(tonegen, tmp_path / "tuning.syx", "mts-bulk")).save(target)
    else:
        notes().save(source)
        asked = "--temperament quarter-comma-meantone --root D --receiver mts-bulk"
        assert tonegen(f"tonegen keys file {source} {target} {asked}").code == 0

    moved_cents = 1200 * np.log2(rendered_hz(target, by_timidity) / untuned_by_timidity_hz)

    assert moved_cents == pytest.approx(MEANTONE.key_cents[list(KEYS)], abs=TIMIDITY_STEP_CENTS)


# -- an OSC-driven synthesis server ----------------------------------------------------------------------

# A sine at a control "freq": the smallest definition that scsynth takes, written by its file format
# (SuperCollider, Synth Definition File Format 2): two outputs of one SinOsc.


def text(name):
    return bytes((len(name),)) + name.encode()


def sine_definition():
    def int32(value):
        return value.to_bytes(4, "big", signed=True)

    def float32(value):
        return struct.pack(">f", value)

    def unit(name, rate, inputs, outputs, special=0):
        head = text(name) + bytes((rate,)) + int32(len(inputs)) + int32(len(outputs))
        return (
            head
            + special.to_bytes(2, "big")
            + b"".join(int32(a) + int32(b) for a, b in inputs)
            + bytes(outputs)
        )

    units = [
        unit("Control", 1, [], [1, 1]),
        unit("SinOsc", 2, [(0, 0), (-1, 0)], [2]),
        unit("BinaryOpUGen", 2, [(1, 0), (0, 1)], [2], special=2),
        unit("Out", 2, [(-1, 0), (2, 0)], []),
    ]
    definition = text("tone") + int32(1) + float32(0.0)  # one constant
    definition += int32(2) + float32(440.0) + float32(0.2)  # two controls
    definition += int32(2) + text("freq") + int32(0) + text("amp") + int32(1)
    definition += int32(len(units)) + b"".join(units) + (0).to_bytes(2, "big")
    return b"SCgf" + int32(2) + (1).to_bytes(2, "big") + definition


def score(packets):
    """An OSC score for offline rendering: bundles with times, each with its length."""
    out = b""
    for seconds, packet in packets:
        whole = int(seconds)
        stamp = whole.to_bytes(4, "big") + int((seconds - whole) * 2**32).to_bytes(4, "big")
        bundle = b"#bundle\0" + stamp + len(packet).to_bytes(4, "big") + packet
        out += len(bundle).to_bytes(4, "big") + bundle
    return out


SCSYNTH = """title = "A sine for each key"
means = "osc"
each = "key"
address = "/s_new"
arguments = ["s tone", "i {key}", "i 0", "i 0", "s freq", "f {hz}"]
"""


def test_a_synthesis_server_plays_what_osc_sends(start, tmp_path):
    """What `keys send` sends over UDP, taken down and played by scsynth: within 0.01 cents."""
    own = tmp_path / "server.toml"
    own.write_text(SCSYNTH)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind(("127.0.0.1", 0))
        server.settimeout(20)
        port = server.getsockname()[1]
        program = start(
            "keys", "send", "--temperament", "quarter-comma-meantone", "--root", "D", "--receiver", str(own),
            "--to", f"127.0.0.1:{port}", "--osc-in", "127.0.0.1:0", "--seconds", "0.1",
        )  # fmt: skip
        packets = [server.recv(65536) for _ in range(128)]
        undone = [server.recv(65536) for _ in range(128)]
        assert program.wait(20) == 0
    assert decode(undone[69])[0].arguments[-1] == 440.0

    played = [(0.0, encode(Message("/d_recv", (sine_definition(),))))]
    for place, key in enumerate(KEYS):
        played.append((0.1 + place, packets[key]))
        played.append((0.9 + place, encode(Message("/n_free", (key,)))))
    played.append((12.5, encode(Message("/c_set", (0, 0)))))
    (tmp_path / "score.osc").write_bytes(score(played))
    out = tmp_path / "out.wav"
    command = ["scsynth", "-N", str(tmp_path / "score.osc"), "_", str(out), str(RATE), "WAV", "float"]
    env = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    subprocess.run([*command, "-o", "1"], check=True, capture_output=True, timeout=60, env=env)
    sound = soundfile.read(out)[0]

    for place, key in enumerate(KEYS):
        start_frame = int((place + 0.15) * RATE)
        wanted_hz = MEANTONE.hz[key]
        heard_hz = spectral_peak_hz(sound[start_frame : start_frame + int(0.7 * RATE)], wanted_hz)
        assert abs(1200 * np.log2(heard_hz / wanted_hz)) < 0.01, key


def test_a_synthesizer_is_heard_out(midi_system, tmp_path):
    """FluidSynth at the sound server, by the command line: one key, and what is left in the end."""
    player = ["fluidsynth", "-a", "jack", "-m", "jack", "-is", "-q", "-R", "0", "-C", "0", "-r", str(RATE)]
    names = ["-o", "midi.jack.id=Synth", "-o", "audio.jack.id=Synth"]
    env = {**midi_system.environment, "XDG_CONFIG_HOME": str(tmp_path)}
    synthesizer = subprocess.Popen([*player, *names, FONT], env=env, stdin=subprocess.DEVNULL)
    try:
        wait_for_port(midi_system, "Synth:midi")
        words = ["listen", "receiver", "--out", "Synth", "--receiver", "mts-single-note", "--keys", "C4"]
        words += ["--save", "mine", "--device", "Synth", "--json"]
        heard = subprocess.run(
            [sys.executable, "-c", "from tonegen.cli import main; main()", *words],
            env=env, capture_output=True, text=True, timeout=120,
        )  # fmt: skip
    finally:
        synthesizer.kill()
        synthesizer.wait()
    assert heard.returncode == 0, heard.stderr
    (key,) = json.loads(heard.stdout)["keys"]
    # What it plays by itself is rendered by itself: its font has this key more than two cents flat.
    assert key["own_cents"] == pytest.approx(-2.5, abs=0.7)
    assert abs(key["left_cents"]) < 0.6  # it moves in whole cents
    assert "60 = -2" in (tmp_path / "tonegen" / "receivers" / "mine.toml").read_text()
