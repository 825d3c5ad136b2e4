"""Every test has its own empty folder for the user's presets, so that nobody's real ones are touched."""

import os
import re
import signal
import sys
import tempfile
from functools import cache
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
        if item.get_closest_marker("real"):
            # A machine that is busy with other things loses periods, and with them what a test listens for:
            # once is no fault of the program's. What is wrong with the program is so twice.
            item.add_marker(pytest.mark.flaky(reruns=1))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Where two run side by side (-n 2), one has all files that need a sound server, one after the other."""
    from xdist.scheduler import LoadScopeScheduling

    class ByWhatTheyNeed(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            return "sound server" if _needs_a_sound_server(config.rootpath / file) else file

    return ByWhatTheyNeed(config, log)


@cache
def _needs_a_sound_server(file):
    """Whether a file has tests at JACK's ports, or benchmarks; a browser or a synthesizer needs none."""
    text = file.read_text()
    if "benchmarks" in file.parts:
        return True
    is_real = any(folder in file.parents for folder in _REAL) or "mark.real" in text
    return is_real and re.search("sound_server|midi_system|jack", text, re.IGNORECASE) is not None


_gives_way = False


def pytest_runtest_setup(item):
    """Whoever runs the others gives way to what plays and listens in real time."""
    global _gives_way
    if "PYTEST_XDIST_WORKER" in os.environ and not _gives_way and not item.get_closest_marker("real"):
        os.nice(10)
        _gives_way = True


@pytest.fixture(scope="session", autouse=True)
def compiled_once():
    """Programs that tests start find their modules compiled, where nothing is to be written beside them too.

    Compiled again at each start, they take longer for that than for all else.
    """
    if not sys.dont_write_bytecode:
        yield
        return
    with (
        tempfile.TemporaryDirectory(prefix="tonegen-compiled-", ignore_cleanup_errors=True) as folder,
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setenv("PYTHONPYCACHEPREFIX", folder)
        patch.delenv("PYTHONDONTWRITEBYTECODE", raising=False)
        yield


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "own"))
    return tmp_path / "own" / "tonegen"


@pytest.fixture
def tonegen(monkeypatch, capsys):
    """The program, called with a line as typed."""
    return CommandLine(monkeypatch, capsys)
