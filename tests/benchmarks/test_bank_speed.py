"""Speed of the bank, side by side in one run with what it is held against. Nothing here asserts a time.

Run with: pytest tests/benchmarks --benchmark-enable. Otherwise the same code runs once, and short.
"""

import re
import subprocess
import sys
from time import perf_counter

import numpy as np

from tonegen.synthesis.bank import DEVICE_COLUMNS, FILE_COLUMNS, Bank
from tonegen.synthesis.player import Player
from tonegen.synthesis.timbre import Timbre, Tone

RATE = 48000
PARTIALS, SECONDS = 64, 60
FRAMES = SECONDS * RATE
BLOCK = 256 * FILE_COLUMNS

HOUR = """
import re, sys, time
from pathlib import Path
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import Player
from tonegen.sound.files import SampleFormat, write
from tonegen.synthesis.timbre import Timbre, Tone
player = Player(48000, columns=FILE_COLUMNS)
player.set([Tone(hz, Timbre.sloped(32, -4.0)) for hz in (220.0, 275.6, 330.0)])
start = time.perf_counter()
write(Path(sys.argv[1]), player, float(sys.argv[2]), sample_format=SampleFormat.PCM_16)
print(time.perf_counter() - start)
print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
"""


def best_seconds(work, rounds):
    """The shortest of some rounds: what the machine can do when nothing else disturbs it."""
    seconds = []
    for _ in range(rounds):
        start = perf_counter()
        work()
        seconds.append(perf_counter() - start)
    return min(seconds)


def test_a_minute_of_64_partials(benchmark):
    """Against a sine summed per partial, and against the bare matrix product of this machine's numpy."""
    random = np.random.default_rng(3)
    hz, turns = random.uniform(40, 8000, PARTIALS), random.random(PARTIALS)
    gains = np.full((PARTIALS, 1), 1 / PARTIALS)
    out = np.empty((BLOCK, 1), dtype=np.float32)
    rows, table = (random.random(shape, dtype=np.float32) for shape in ((256, 128), (128, FILE_COLUMNS)))
    product = np.empty((256, FILE_COLUMNS), dtype=np.float32)

    def with_the_bank():
        bank = Bank(hz / RATE, gains)  # making its table counts
        for first in range(0, FRAMES, BLOCK):
            bank.render(out[: FRAMES - first], first, turns)

    def summed():
        t = np.arange(FRAMES) / RATE
        sound = np.zeros(FRAMES)
        for f, p, a in zip(hz, turns, gains[:, 0], strict=True):
            sound += a * np.sin(2 * np.pi * f * t + 2 * np.pi * p)
        return sound

    def bare_products():
        for _ in range(FRAMES // BLOCK):
            np.matmul(rows, table, out=product)

    rounds = 1 if benchmark.disabled else 20
    summed_seconds = best_seconds(summed, 1)
    bare_flops = 4 * PARTIALS * (FRAMES // BLOCK * BLOCK) / best_seconds(bare_products, rounds)
    bank_seconds = best_seconds(with_the_bank, rounds)
    bank_flops = 4 * PARTIALS * FRAMES / bank_seconds
    benchmark.extra_info["times as fast as summed sines"] = round(summed_seconds / bank_seconds, 1)
    benchmark.extra_info["share of the rate of the bare product"] = round(bank_flops / bare_flops, 3)
    benchmark.extra_info["GFlop/s"] = round(bank_flops / 1e9, 1)

    benchmark(with_the_bank)


def block_shares(player, tones_at, blocks):
    """Share of the time of a block of 128 frames that the callback takes, block by block."""
    out = np.empty((128, 2), dtype=np.float32)
    shares = np.empty(blocks)
    for block in range(blocks):
        tones_at(block)
        start = perf_counter()
        player.pull(out)
        shares[block] = (perf_counter() - start) * RATE / 128
    return shares


def grip(block=0):
    return [Tone(80.0 + 23 * n + block % 7, Timbre.sloped(32, -4.0), name=str(n)) for n in range(12)]


def test_a_device_callback_of_12_tones(benchmark):
    """Sustained, and with a glide of all of them every quarter of a second."""
    player = Player(RATE, columns=DEVICE_COLUMNS)
    player.set(grip())
    out = np.empty((128, 2), dtype=np.float32)
    while player.frame < RATE:
        player.pull(out)

    for name, tones_at in (
        ("sustained", lambda block: None),
        ("gliding", lambda block: player.set(grip(block)) if block % 94 == 0 else None),
    ):
        shares = block_shares(player, tones_at, 200 if benchmark.disabled else 20_000)
        benchmark.extra_info[f"{name}: share of the block at the median"] = round(float(np.median(shares)), 4)
        benchmark.extra_info[f"{name}: at the 99.9th percentile"] = round(
            float(np.percentile(shares, 99.9)), 4
        )
        benchmark.extra_info[f"{name}: at worst"] = round(float(shares.max()), 4)

    benchmark(player.pull, out)


def test_an_hour_to_a_file(benchmark, tmp_path):
    """Three tones of 32 partials as a 16-bit WAV; the highest mark of resident memory, from the kernel."""
    length = 60 if benchmark.disabled else 3600

    def hour():
        done = subprocess.run(
            [sys.executable, "-c", HOUR, str(tmp_path / "hour.wav"), str(length)],
            capture_output=True,
            text=True,
            check=True,
        )
        (tmp_path / "hour.wav").unlink()
        return re.findall(r"\S+", done.stdout)

    seconds, kilobytes = benchmark.pedantic(hour, rounds=1)

    benchmark.extra_info["times as fast as it sounds"] = round(length / float(seconds))
    benchmark.extra_info["resident MB at the highest"] = round(int(kilobytes) / 1000)
