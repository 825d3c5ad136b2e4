"""Sound through a real server: what arrives beats as computed, and a lost device is said clearly.

Each player runs in a process of its own, as it does for a user; PortAudio looks for devices once a process.
"""

import os
import signal
import subprocess
import sys

import numpy as np
import pytest

from tests.measure import beat_of, hz_of
from tests.real.recorder import Recorder
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.interval import Ratio, beats_per_second
from tonegen.sound.device import Device, choose, play
from tonegen.synthesis.player import SWITCH_SECONDS, Player
from tonegen.synthesis.timbre import Tone

RATE = 48000
GRIP_HZ = (246.9417, 329.6276, 415.3047)  # B3, E4, G#4 in equal temperament
PLAY = """
import sys
from tonegen.errors import TonegenError
from tonegen.synthesis.player import Player
from tonegen.sound.device import choose, output_devices, play
from tonegen.synthesis.timbre import Timbre, Tone

which, seconds, rate, block = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
try:
    device = choose(which, output_devices())
    player = Player(rate)
    player.set([Tone(float(hz), Timbre.sloped(8, -4.0)) for hz in sys.argv[5:]])
    heard, waits = [], set()
    played = play(player, device, seconds=seconds, block_frames=block, picture=lambda frame: (
        heard or print("playing", flush=True), heard.append((frame, player.frame)),
        waits.add(sys.getswitchinterval())))
    behind = sorted(made - frame for frame, made in heard)[len(heard) // 2]
    print("played", played.seconds, "underflows", played.underflows, "behind", behind)
    print("threads wait", *waits, "and then", sys.getswitchinterval())
except TonegenError as refusal:
    print("refused", refusal)
    sys.exit(refusal.exit_code)
"""


def start(server, which="system", seconds=60.0, rate=RATE, block=0, hz=GRIP_HZ):
    """Begin to play in a process of its own; its output says "playing" once it sounds."""
    words = [which, str(seconds), str(rate), str(block), *map(str, hz)]
    return subprocess.Popen(
        [sys.executable, "-c", PLAY, *words],
        env=server.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_a_grip_arrives_and_beats_as_computed(sound_server):
    playing = start(sound_server, block=128)
    try:
        assert playing.stdout.readline() == "playing\n"
        left, right = Recorder(sound_server).record(8)
    finally:
        playing.send_signal(signal.SIGINT)  # Ctrl-C
        said, complaints = playing.communicate(timeout=20)

    b, e, g_sharp = GRIP_HZ
    for low, high, ratio in ((e, g_sharp, Ratio(5, 4)), (b, g_sharp, Ratio(5, 3)), (b, e, Ratio(4, 3))):
        around = (ratio.upper * low + ratio.lower * high) / 2
        computed = abs(beats_per_second(low, high, ratio))
        assert beat_of(left, RATE, around, width_hz=60) == pytest.approx(computed, abs=0.01)
    assert hz_of(left, RATE, e, width_hz=30) == pytest.approx(e, abs=0.001)
    assert np.array_equal(left, right)
    assert 0.005 < np.abs(left).max() <= 10 ** (-24 / 20)
    told, waits = said.splitlines()
    words = told.split()
    assert playing.returncode == 0, complaints
    assert words[0::2] == ["played", "underflows", "behind"]
    assert float(words[1]) > 8
    assert 0 < int(words[5]) < RATE / 2  # the picture is as late as the sound
    assert waits == f"threads wait {SWITCH_SECONDS} and then 0.005", "the device's comes first while it plays"


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_a_server_that_dies_while_playing(mortal_sound_server, how):
    """One line, exit code 3, and no long wait, whether the server ends in order or not."""
    playing = start(mortal_sound_server)
    assert playing.stdout.readline() == "playing\n"

    mortal_sound_server.process.send_signal(how)
    said, complaints = playing.communicate(timeout=20)

    assert said.startswith(
        "refused sound device 0 system (JACK Audio Connection Kit) was lost while playing;"
    )
    assert said.count("\n") == 1
    assert playing.returncode == 3
    assert "Traceback" not in complaints


STARTS_LATE = """
import sounddevice
begin = sounddevice.OutputStream.start
def start(stream):
    print("opened", flush=True)
    sys.stdin.readline()
    begin(stream)
sounddevice.OutputStream.start = start
"""


def test_a_server_that_dies_between_opening_and_starting(mortal_sound_server):
    """PortAudio takes for certain that the server answers when it closes the stream, and would abort."""
    code = PLAY.replace("import sys\n", f"import sys\n{STARTS_LATE}", 1)
    playing = subprocess.Popen(
        [sys.executable, "-c", code, "system", "60", str(RATE), "0", "220"],
        env=mortal_sound_server.environment, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert playing.stdout.readline() == "opened\n"
    mortal_sound_server.process.kill()
    mortal_sound_server.process.wait(20)
    said, complaints = playing.communicate("\n", timeout=20)

    assert playing.returncode == 3, complaints
    assert said.startswith("refused sound device 0 system (JACK Audio Connection Kit) does not start (")
    assert said.count("\n") == 1


def refusal_of(server, **settings):
    playing = start(server, **settings)
    said, _ = playing.communicate(timeout=20)
    assert said.startswith("refused "), said
    assert said.count("\n") == 1
    return playing.returncode, said


def test_what_the_server_does_not_take(sound_server):
    code, said = refusal_of(sound_server, rate=44100)
    assert code == 3
    assert "does not take 2 channels at 44100 Hz" in said
    assert "prefers 48000 Hz" in said

    code, said = refusal_of(sound_server, which="nowhere")
    assert code == 3
    assert 'no sound device "nowhere"; there are: 0 system (JACK Audio Connection Kit)' in said


def test_playing_ends_by_itself(sound_server):
    """A second, and half a second of fade-out."""
    said, _ = start(sound_server, which="0", seconds=1).communicate(timeout=20)

    assert float(said.split()[2]) == pytest.approx(1.5, abs=0.2)


SLOW = """
import time
from tonegen.synthesis.player import Player
class SlowPlayer(Player):
    def pull(self, out):
        super().pull(out)
        if 24_000 < self.frame < 36_000:
            time.sleep(0.05)
"""


def test_blocks_that_come_too_late_are_counted(sound_server):
    """A quarter of a second of blocks of 256 frames, each ten times too late: about 47 gaps."""
    code = SLOW + PLAY.replace("Player(rate)", "SlowPlayer(rate)")

    done = subprocess.run(
        [sys.executable, "-c", code, "system", "1", str(RATE), "256", "220"],
        env=sound_server.environment,
        capture_output=True,
        text=True,
        timeout=30,
    )

    assert int(done.stdout.split("underflows")[1].split()[0]) >= 20


def test_without_the_library_of_the_system_it_says_what_to_install():
    """The look-up finds nothing, as on a system without PortAudio; the binding then fails by itself."""
    code = "import ctypes.util; ctypes.util.find_library = lambda _: None\n" + PLAY

    done = subprocess.run(
        [sys.executable, "-c", code, "system", "1", str(RATE), "0", "220"],
        capture_output=True,
        text=True,
        timeout=20,
    )

    assert done.stdout.startswith("refused the PortAudio library is missing; install it")
    assert "libportaudio2" in done.stdout
    assert done.returncode == 3


def test_without_any_device_it_says_so():
    """PortAudio alone, without a server and without hardware."""
    code = "import tonegen.sound.device as d\nprint(d.output_devices())\n" + PLAY
    nowhere = {**os.environ, "JACK_DEFAULT_SERVER": "tonegen-nowhere", "JACK_NO_START_SERVER": "1"}

    done = subprocess.run(
        [sys.executable, "-c", code, "no such name", "1", str(RATE), "0", "220"],
        env=nowhere,
        capture_output=True,
        text=True,
        timeout=20,
    )

    assert done.returncode == 3
    assert "refused " in done.stdout
    assert "Traceback" not in done.stderr


def device(number, name, host="ALSA", is_default=False, of_default_host=True):
    return Device(number, name, host, 2, 48000, is_default, of_default_host)


SHELF = [
    device(0, "Built-in"),
    device(1, "Stage Left", is_default=True),
    device(2, "Stage Left Monitor"),
    device(3, "Built-in", host="JACK", of_default_host=False),
]


@pytest.mark.parametrize(
    ("which", "number"),
    [(None, 1), ("2", 2), ("monitor", 2), ("Stage Left", 1), ("built", 0), ("jack", 3), ("left mon", 2)],
)
def test_a_device_by_number_or_part_of_its_name(which, number):
    assert choose(which, SHELF).number == number


@pytest.mark.parametrize(
    ("which", "devices", "says"),
    [
        (
            "stage",
            SHELF,
            '"stage" matches 2 sound devices: 1 Stage Left .*, 2 Stage Left Monitor .*give the number',
        ),
        ("7", SHELF, 'no sound device "7"; there are: 0 Built-in .*, 3 Built-in'),
        ("organ", SHELF, 'no sound device "organ"'),
        (None, SHELF[2:], "no default sound device; choose one of: 2 Stage"),
        (None, [], "there is no sound device; connect one"),
    ],
)
def test_none_or_several_devices(which, devices, says):
    with pytest.raises(NoSuchDevice, match=says):
        choose(which, devices)


@pytest.mark.parametrize("wrong", [{"block_frames": -1}, {"block_frames": 99_999}, {"seconds": 0}])
def test_blocks_and_times_that_cannot_be_meant(wrong):
    player = Player(RATE)
    player.set([Tone(220.0)])

    with pytest.raises(BadValue):
        play(player, SHELF[0], **wrong)
