"""Every test has its own empty folder for the user's presets, so that nobody's real ones are touched."""

import os
import signal
import tempfile
from pathlib import Path

import pytest
from hypothesis import Phase, settings

from tests.cli import CommandLine

# Tests are collected by the names of presets: of those that ship, not of those of whoever runs the tests.
_NOBODY = tempfile.TemporaryDirectory(prefix="tonegen-nobody-")
os.environ["XDG_CONFIG_HOME"] = _NOBODY.name

# Programs are ended as a player ends them, by Ctrl-C or a closed terminal, also where a shell that runs the
# tests behind itself, or nohup, has these ignored.
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)

# A busy machine is no reason for a test to fail: no example has a deadline.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
# For `tests.changes`: an example that fails need not be made smaller.
settings.register_profile("found is enough", deadline=None, phases=[Phase.explicit, Phase.generate])


# What lies here needs real things, or a machine to itself, without saying so file by file.
_REAL = [Path(__file__).parent / folder for folder in ("real", "benchmarks")]


def pytest_collection_modifyitems(items):
    for item in items:
        if any(folder in item.path.parents for folder in _REAL):
            item.add_marker("real")


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "own"))
    return tmp_path / "own" / "tonegen"


@pytest.fixture
def tonegen(monkeypatch, capsys):
    """The program, called with a line as typed."""
    return CommandLine(monkeypatch, capsys)
