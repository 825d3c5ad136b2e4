"""Imports run one way: the core knows no file, no device and nobody who uses it."""

import subprocess
import sys

import pytest

CORE = (
    "pitch", "interval", "wire", "instrument", "temperament", "sounding", "copedent", "synthesis.timbre",
    "synthesis.bank",
)  # fmt: skip
DEVICES_AND_FILES = {"msgspec", "tomllib", "sounddevice", "soundfile", "mido", "rtmidi", "pythonosc", "click"}


@pytest.mark.parametrize("module", CORE)
def test_the_core_opens_no_device_and_reads_no_file(module):
    code = f"import sys, tonegen.{module}; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert DEVICES_AND_FILES.isdisjoint(done.stdout.split())
