"""Servers that tests of real ports and real sound share."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

import jack
import pytest
from playwright.sync_api import sync_playwright

from tests.jack import SoundServer, running_server
from tests.keys.rig import Ear, Programs
from tests.page.chromium import CHROMIUM, FLAGS
from tests.page.running import RunningPage

# What Chromium notes of a program that was ended, or that refused a file: the page says both to its reader.
ANSWERED = ("net::ERR_CONNECTION_", "400 (Bad Request)")

_FAILED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    item.stash[_FAILED] = item.stash.get(_FAILED, False) or report.failed
    return report


@pytest.fixture(autouse=True)
def nothing_left_open(request):
    """The next test must not find the ports of one that failed; and clients at two servers break JACK."""
    yield
    if request.node.stash.get(_FAILED, False):
        from tonegen.keys.ports import MidiInput, MidiOutput

        for one in gc.get_objects():
            if issubclass(
                type(one), MidiInput | MidiOutput | jack.Client
            ):  # a dead proxy has no class to ask for
                one.close()


@pytest.fixture(scope="session")
def sound_server(tmp_path_factory) -> Iterator[SoundServer]:
    """One server for all tests that leave it running."""
    with running_server(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.fixture
def mortal_sound_server(tmp_path) -> Iterator[SoundServer]:
    """A server for one test, which may end it."""
    with running_server(tmp_path) as server:
        yield server


@pytest.fixture
def midi_system(sound_server) -> Iterator[SoundServer]:
    """The shared server as the MIDI system of the test's own process and of what it starts."""
    with sound_server.as_the_own():
        yield sound_server


@pytest.fixture
def ear(midi_system) -> Iterator[Ear]:
    """A receiver's port that the test listens at."""
    ear = Ear("Stage Piano")
    yield ear
    ear.close()


@pytest.fixture
def start(midi_system, request) -> Iterator:
    """Start the program; what still runs at the end is ended, before the ear that it plays at goes."""
    if "ear" in request.fixturenames:
        request.getfixturevalue("ear")
    programs = Programs()
    yield programs.start
    programs.close()


@pytest.fixture
def plays_at(midi_system):
    """Open a port to play at; what is sent before the server has taken the connection in is lost."""
    from tonegen.keys.ports import MidiOutput

    def opened(name):
        player = MidiOutput(name)
        midi_system.wait_for_periods()
        return player

    return opened


@pytest.fixture
def send(start):
    """Tune a receiver at the ear's port."""
    tuned = ("keys", "send", "--temperament", "quarter-comma-meantone", "--out", "stage pi", "--receiver")
    return lambda name, *more: start(*tuned, name, *more)


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def laptop(chromium):
    """Opens the page of a running program as on a laptop."""

    @contextmanager
    def opened(running):
        page = chromium.new_page(viewport={"width": 1440, "height": 900})
        page.goto(running.link)
        page.wait_for_selector("[data-ready=yes]")
        yield page
        page.close()

    return opened


@pytest.fixture
def running(tmp_path, request):
    """The page, on this machine only; a parameter is the address that stands for that in its network."""
    with RunningPage(tmp_path / "own", lan_address=getattr(request, "param", None)) as page:
        yield page


@pytest.fixture
def opened(chromium, running):
    """Opens pages of the running program; a fault of a script fails the test."""
    contexts, faults = [], []

    def open_page(width=1440, height=900, theme="dark", before="", **options):
        context = chromium.new_context(
            viewport={"width": width, "height": height}, color_scheme=theme, **options
        )
        contexts.append(context)
        context.add_init_script(before)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "console",
            lambda said: (
                said.type == "error"
                and not any(usual in said.text for usual in ANSWERED)
                and faults.append(said.text)
            ),
        )
        page.on(
            "request",
            lambda request: request.url.startswith((running.url, "blob:")) or faults.append(request.url),
        )
        page.goto(running.link)
        page.wait_for_selector("[data-ready=yes]")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []
