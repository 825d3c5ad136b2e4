"""How quick the page is, and what it costs in shares of a core. No time is asserted."""

import json
import os
import queue
import time
from pathlib import Path
from statistics import median

import jack
import numpy as np
import pytest
from playwright.sync_api import sync_playwright

from tests.page.chromium import CHROMIUM, FLAGS
from tests.page.running import RunningPage
from tests.real.conftest import sound_server  # noqa: F401 (the fixture)

GRIP = {"do": "grip", "name": "E major 3-4-5"}


@pytest.fixture
def running(tmp_path):
    with RunningPage(tmp_path / "own") as page:
        yield page


def browser_cpu_seconds():
    """What every process of this one's Chromium has used so far, whatever else runs on the machine."""
    found = {}
    for process in Path("/proc").glob("[0-9]*"):
        try:
            fields = (process / "stat").read_text().rpartition(")")[2].split()
            is_browser = b"chromium" in (process / "cmdline").read_bytes()
        except OSError:
            continue
        found[int(process.name)] = int(fields[1]), is_browser, int(fields[11]) + int(fields[12])

    def is_ours(pid):
        return pid == os.getpid() or (pid in found and is_ours(found[pid][0]))

    ticks = sum(used for pid, (_, is_browser, used) in found.items() if is_browser and is_ours(pid))
    return ticks / os.sysconf("SC_CLK_TCK")


def shares(running, seconds):
    """Shares of a core: the program's and the browser's."""
    program, browser, start = running.cpu_seconds(), browser_cpu_seconds(), time.perf_counter()
    time.sleep(seconds)
    passed = time.perf_counter() - start
    return (running.cpu_seconds() - program) / passed, (browser_cpu_seconds() - browser) / passed


def test_from_the_command_to_the_first_page(benchmark, tmp_path):
    def start():
        with RunningPage(tmp_path / "own") as page:
            return page.ready_seconds

    ready = [start() for _ in range(5 if benchmark.enabled else 1)]
    benchmark.pedantic(start, rounds=3)
    print(f"\nready after {median(ready):.2f} s, at best {min(ready):.2f} s (wanted: 0.7 s)")


def test_seen_in_the_browser(benchmark, running):
    """First paint, a touch to the changed chart, and what it costs to look at, idle and sounding."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        seconds = 4.0 if benchmark.enabled else 0.2
        painted = []
        for _ in range(5 if benchmark.enabled else 1):
            page.goto(running.link)
            page.wait_for_selector("[data-ready=yes]")
            painted.append(
                page.evaluate("""new Promise(done => new PerformanceObserver(list =>
                done(list.getEntriesByName("first-contentful-paint")[0].startTime)
            ).observe({ type: "paint", buffered: true }))""")
            )
        touch = """() => new Promise(done => {
          const button = document.querySelector("#board [data-change=A]");
          const before = button.getAttribute("aria-pressed"), start = performance.now();
          new MutationObserver((_, observer) => {
            if (button.getAttribute("aria-pressed") === before) return;
            observer.disconnect();
            requestAnimationFrame(() => setTimeout(() => done(performance.now() - start)));
          }).observe(button, { attributes: true });
          button.click();
        })"""
        shown = []
        for _ in range(61 if benchmark.enabled else 1):
            page.wait_for_timeout(120)  # as quick as a trill
            shown.append(page.evaluate(touch))
        benchmark.pedantic(lambda: page.evaluate(touch), rounds=5)
        page.click("[data-grip='E major 3-4-5']")
        page.wait_for_timeout(250 * seconds)
        idle = shares(running, seconds)
        page.click("#sound")
        page.wait_for_selector("#sound[aria-pressed=true]")
        page.wait_for_timeout(500 * seconds)
        sounding = shares(running, seconds)
        page.evaluate("location.hash = 'own'")  # the sound alone, with no strands in sight
        page.wait_for_timeout(500 * seconds)
        unseen = shares(running, seconds)
        browser.close()
    print(
        f"\nfirst paint {median(painted):.0f} ms (wanted: 300), touch to shown {median(shown):.1f} ms, "
        f"of ten {sorted(shown)[len(shown) * 9 // 10]:.1f} at the most (50)"
        f"\nidle: program {idle[0]:.1%}, browser {idle[1]:.1%} of a core (2 %)"
        f"\nsounding a grip in the page: program {sounding[0]:.1%}, browser {sounding[1]:.1%}"
        f"\nits sound alone: program {unseen[0]:.1%}, browser {unseen[1]:.1%} (5 %)"
    )


def test_heard_on_a_device(benchmark, sound_server, tmp_path):  # noqa: F811
    """From the touch on a change to the first different sample on the device's ports, fades included."""
    options = ("--device", "system", "--block", "256")
    with RunningPage(tmp_path / "own", *options, environment=sound_server.environment) as running:
        client = jack.Client("listener", servername=sound_server.name, no_start_server=True)
        blocks = queue.Queue()
        mine = client.inports.register("left")
        client.set_process_callback(lambda _: blocks.put((time.perf_counter(), mine.get_array().copy())))
        with running.page() as page, client:
            page.connection.send(json.dumps(GRIP))
            page.ask("only", low="4", high="3")
            page.ask("strings", strings=[4, 5])
            page.ask("sound", on=True)
            page.shown("view", lambda view: view["outlet"].startswith("on "))
            page.shown("moment", lambda moment: moment["heard_frame"] > 48_000)
            [theirs] = client.get_all_connections("system:playback_1")
            client.connect(theirs, mine)

            def until(at):
                """The blocks that have come, up to one at that time."""
                came = [blocks.get(timeout=20)]
                while came[-1][0] < at:
                    came.append(blocks.get(timeout=20))
                return came

            def touch():
                """Raise string 5 by A; the level of its old partials falls as soon as it glides."""
                heard = until(time.perf_counter() + 0.3)
                while max(unlike_before(heard)) > UNLIKE:  # a fade, or a block that the device missed
                    heard = until(time.perf_counter() + 0.3)
                start = time.perf_counter()
                page.ask("engage", change="A", travel=1.0)
                heard = [*heard[-BEFORE:], *until(start + 0.3)]
                page.ask("engage", change="A", travel=0.0)
                unlike = unlike_before(heard)
                change = [at for (at, _), far in zip(heard, unlike, strict=True) if far > UNLIKE]
                assert change, "nothing changed"
                return change[0] - start

            times = [touch() for _ in range(5 if benchmark.enabled else 1)]
            benchmark.pedantic(lambda: None, rounds=1)
            program = running.cpu_seconds(), time.perf_counter()
            time.sleep(4 if benchmark.enabled else 0.2)
            share = (running.cpu_seconds() - program[0]) / (time.perf_counter() - program[1])
    print(f"\ntouch to heard {1000 * median(times):.0f} ms (wanted: 5 ms block + 50 ms)")
    print(f"sounding on the device: program {share:.1%} of a core (25 %)")


BEFORE = 50  # blocks, of which the first 0.2 s are carried on
UNLIKE = 0.003


def unlike_before(heard):
    """How far each block is from the sound of the first 0.2 s carried on: sines fitted to that."""
    hz = np.array([hz * n for hz in (246.9417, 329.6276) for n in range(1, 88) if hz * n < 21_600])
    sound = np.concatenate([block for _, block in heard])
    size = len(heard[0][1])

    def waves(first, frames):
        angles = 2 * np.pi * np.multiply.outer((first + np.arange(frames)) / 48_000, hz)
        return np.hstack([np.sin(angles), np.cos(angles)])

    fitted = np.linalg.lstsq(waves(0, 9600), sound[:9600], rcond=None)[0]
    return [
        np.abs(block - waves(size * number, size) @ fitted).max() for number, (_, block) in enumerate(heard)
    ]
