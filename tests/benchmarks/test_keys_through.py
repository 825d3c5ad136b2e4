"""How long the program holds a note up: from the arrival of its bytes to the hand-over of bend and note.

`pytest tests/benchmarks/test_keys_through.py --benchmark-enable -s` prints percentiles; no time is asserted.
"""

import signal
import time

import numpy as np
import pytest

from tests.jack import running_server
from tests.keys.rig import MEANTONE, Ear, Programs, Through
from tests.keys.test_through import player
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.guard import Guard
from tonegen.keys.plan import plan
from tonegen.keys.ports import MidiInput, MidiOutput
from tonegen.keys.receivers import receiver
from tonegen.keys.sets import set_plan
from tonegen.presets.sets import set_list

SECONDS = 10


def percentiles(name, seconds):
    micro = 1e6 * np.array(seconds)
    low, high, worst = np.percentile(micro, (50, 99.9, 100))
    print(f"\n{name}: median {low:.1f} us, 99.9th percentile {high:.1f} us, worst {worst:.1f} us")
    return {"median_us": low, "p999_us": high, "worst_us": worst, "notes": len(seconds)}


def follower():
    return ChordFollower(ChordFollowing(), MEANTONE.key_cents.tolist())


@pytest.mark.parametrize("follows", [False, True], ids=["fixed", "follows the chord"])
@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_a_note_that_is_handed_round(benchmark, name, follows):
    """The same where each note finds a channel; its offset may be worked out as it comes."""
    made = plan(MEANTONE, receiver(name))
    through = Through(made, lambda message: None, follower=follower() if follows else None)
    messages = list(player(1000))

    def play():
        for message in messages:
            through.receive(message)

    benchmark(play)
    assert through.rotation.active_voices == 0


@pytest.mark.parametrize("follows", [False, True], ids=["fixed", "follows the chord"])
@pytest.mark.parametrize("name", ["mts-octave", "mts-single-note", "osc-per-note"])
def test_a_note_in_and_out(benchmark, name, follows):
    """The arithmetic alone: a thousand notes struck and released."""
    made = plan(MEANTONE, receiver(name))
    through = Through(made, lambda message: None, follower=follower() if follows else None)
    messages = list(player(1000))

    def play():
        for message in messages:
            through.receive(message)

    benchmark(play)
    assert through.rotation is None or through.rotation.active_voices == 0


@pytest.fixture
def timed(benchmark):
    """Only where time is measured: what else happens at real ports is tested in tests/real."""
    if not benchmark.enabled:
        pytest.skip("measures time; --benchmark-enable does so")


@pytest.fixture
def stage(timed, tmp_path):
    """A JACK MIDI loop, and the synthesis engine playing in another process on the same cores."""
    with running_server(tmp_path, 128) as server, server.as_the_own():
        ear, programs = Ear("Stage Piano"), Programs()
        tones = ("--low", "A3", "--high", "C#4", "--timbre", "string", "--level", "-60")
        yield ear, programs.start("play", *tones)
        programs.close()
        ear.close()


@pytest.mark.parametrize(
    ("follows", "notes_a_second"),
    [(False, 1000), (True, 1000), (False, 100), (True, 100)],
    ids=["fixed", "follows the chord", "fixed, as fast as hands are", "follows, as fast as hands are"],
)
def test_time_added_on_a_real_port(benchmark, stage, follows, notes_a_second):
    """Through real ports in both directions, beside the synthesis engine."""
    ear, engine = stage
    out = MidiOutput("Stage Piano")
    made = plan(MEANTONE, receiver("mpe"))
    through = Through(made, out.send, follower=follower() if follows else None)
    added = []

    def arrived(message):
        begun = time.perf_counter()
        through.receive(message)
        if message[0] == 0x90:
            added.append(time.perf_counter() - begun)

    source = MidiInput("Keys", arrived, virtual=True)
    keys = MidiOutput("Keys")

    def play():
        begun = time.perf_counter()
        for place, message in enumerate(player(notes_a_second * SECONDS)):
            while time.perf_counter() < begun + place / notes_a_second / 2:
                time.sleep(0.0002)
            keys.send(message)
        keys.send(b"\xb0\x07\x01")
        ear.until(b"\xb0\x07\x01")

    benchmark.pedantic(play, rounds=1)
    benchmark.extra_info.update(percentiles(f"{notes_a_second} a second{', following' * follows}", added))
    assert len(added) == notes_a_second * SECONDS
    assert engine.poll() is None, engine.stderr.read()
    for port in (source, keys, out):
        port.close()


@pytest.fixture
def rig(timed, tmp_path):
    """A server out of step: in step it stops when a program is killed."""
    with running_server(tmp_path, 1024, in_step=False) as server, server.as_the_own():
        ear, programs = Ear("Stage Piano"), Programs()
        yield ear, programs.start
        programs.close()
        ear.close()


def test_time_to_put_the_rig_back(benchmark, rig):
    """From kill -9 of the program to the last undo message at the receiver."""
    ear, start = rig
    made = plan(MEANTONE, receiver("mpe"))

    def play():
        program = start("keys", "send", "--receiver", "mpe", "--out", "Stage Piano")
        ear.take(len(made.messages))
        program.stderr.readline()
        killed = time.perf_counter()
        program.send_signal(signal.SIGKILL)
        first, _ = ear.next()
        for _ in made.undo[1:]:
            last, _ = ear.next()
        return first - killed, last - killed

    first, last = benchmark.pedantic(play, rounds=1)
    print(f"\nput back: first message {first * 1e3:.0f} ms, last {last * 1e3:.0f} ms after the end")
    benchmark.extra_info.update({"first_seconds": first, "last_seconds": last})


RIG = """
title = "Invented: three keyboards"
{receivers}
[[songs]]
name = "Waltz"
"""
RECEIVERS = {"Upright": "twelve-channel-bend", "Organ": "mts-octave", "Pad": "mpe"}


def test_time_to_put_a_whole_rig_back(benchmark, rig, tmp_path):
    """From kill -9 to the last undo message at the last of three receivers.

    Most of it is JACK's, which takes out one client of the program after the other, and passes nothing on
    for certain until then.
    """
    _, start = rig
    ears = {name: Ear(name) for name in RECEIVERS}
    rows = (
        f'[[receivers]]\nname = "{name}"\nport = "{name}"\nreceiver = "{one}"\nfollows = "vallotti"\n'
        for name, one in RECEIVERS.items()
    )
    file = tmp_path / "night.toml"
    file.write_text(RIG.format(receivers="".join(rows)))
    made = set_plan(set_list(str(file))).checked()

    def play():
        program = start("set", "play", str(file), "--virtual-in", "Keyboard")
        for name, ear in ears.items():
            ear.until(made.start(name)[-1])
        program.stderr.readline()
        killed = time.perf_counter()
        program.send_signal(signal.SIGKILL)
        return max(ear.until(made.undo(name)[-1])[1] for name, ear in ears.items()) - killed

    seconds = benchmark.pedantic(play, rounds=1)
    print(f"\nthe whole rig was equal {seconds:.2f} s after the end")
    benchmark.extra_info["seconds"] = seconds
    for ear in ears.values():
        ear.close()


def test_the_guard_starts(benchmark):
    """What posting the guard costs before the first tuning message."""

    def post():
        guard = Guard()
        guard.door("osc 127.0.0.1:9")
        guard.close()

    benchmark.pedantic(post, rounds=3)
