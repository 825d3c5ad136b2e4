"""The page's scripts by themselves, in Chromium: no program behind them, no sound, a clock set by hand.

What they are shown is what the engine shows; what they ask is caught where the WebSocket would send it.
"""

import base64
import json
import mimetypes
import re
import tempfile
import threading
from contextlib import contextmanager
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect, sync_playwright

import tonegen.page
from tests.page import asks
from tests.page.chromium import CHROMIUM, FLAGS
from tests.page.visitor import in_the_loop, visitor

pytestmark = pytest.mark.real  # Chromium

PAGE = Path(tonegen.page.__file__).parent
SIZE = {"width": 1280, "height": 900}
BY_ITSELF = """
  const real = performance.now.bind(performance);
  let now = null;
  performance.now = () => now ?? real();
  window.setClock = (ms) => { now = ms; };
  window.asked = [];
  window.WebSocket = class {
    static OPEN = 1;
    constructor() { this.readyState = 1; window.socket = this; }
    send(text) { asked.push(JSON.parse(text)); }
    close() {}
  };
  window.shown = (message) => socket.onmessage({ data: JSON.stringify(message) });
"""


@pytest.fixture(scope="module")
def engine_shows():
    """What an engine shows first, by kind, with a grip of three strings."""
    found = {}

    @in_the_loop
    def begin():
        page = visitor(None, None, asks.Engage("A", 1.0), asks.Engage("B", 1.0), asks.Strings((3, 4, 5)))
        found.update(page.shown)

    begin()
    return found


@pytest.fixture(scope="module")
def browser(engine_shows):
    # The fixture before this one ran its event loop already: the browser's own allows no other beside it.
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        started = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[*FLAGS, f"--disk-cache-dir={folder}"]
        )
        yield started
        started.close()


class Files(BaseHTTPRequestHandler):
    """The files of the page, as the program would give them."""

    protocol_version = "HTTP/1.1"

    def do_GET(self):
        path = PAGE / (self.path.removeprefix("/") or "static/index.html")
        found = path.is_file()
        body = path.read_bytes() if found else b""
        self.send_response(200 if found else 404)
        self.send_header("Content-Type", mimetypes.guess_type(path.name)[0] or "text/plain")
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "max-age=3600")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def address():
    """Where they are. Through `Page.route` each of them took as long as all of them take so."""
    with ThreadingHTTPServer(("127.0.0.1", 0), Files) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


@contextmanager
def opened_tab(browser):
    """A tab, and what goes wrong in it."""
    context = browser.new_context(viewport=SIZE)
    tab = context.new_page()
    faults = []
    tab.set_default_timeout(30_000)  # a busy machine is no fault of the page
    tab.on("pageerror", lambda error: faults.append(str(error)))
    tab.add_init_script(BY_ITSELF)
    yield tab, faults
    context.close()
    assert faults == []


def load(tab, address, engine_shows):
    tab.goto(address)
    tab.wait_for_function("Boolean(window.socket?.onopen)")
    tab.evaluate("socket.onopen()")
    for message in engine_shows.values():
        tab.evaluate("(message) => shown(message)", message)
    tab.wait_for_selector("[data-ready=yes]")
    tab.evaluate("asked.length = 0")


@pytest.fixture(scope="module")
def tab(browser):
    with opened_tab(browser) as one:
        yield one


@pytest.fixture
def page(tab, address, engine_shows):
    """The page, loaded anew in the same tab: a new one takes twice as long as that."""
    opened, faults = tab
    load(opened, address, engine_shows)
    yield opened
    opened.evaluate("localStorage.clear(), sessionStorage.clear()")
    opened.mouse.up()
    opened.mouse.move(0, 0)
    opened.emulate_media(media="null", color_scheme="null", forced_colors="null")
    opened.set_viewport_size(SIZE)
    assert faults == []


@pytest.fixture(scope="module")
def kept_page(browser, address, engine_shows):
    """One page for all that only ask what a function gives, and leave nothing behind."""
    with opened_tab(browser) as (one, _):
        load(one, address, engine_shows)
        yield one


def asked(page, action):
    """What the page asked of a kind, once it has asked at all."""
    page.wait_for_function("(action) => asked.some((one) => one.do === action)", arg=action)
    return [one for one in page.evaluate("asked") if one.pop("do") == action]


def view_with(page, engine_shows, **playing):
    """Show the same view with something else in what is played."""
    view = {**engine_shows["view"], "playing": {**engine_shows["view"]["playing"], **playing}}
    page.evaluate("(message) => shown(message)", view)


# -- the clock: which frame is heard when, and how far each beat has turned ---------------------------------


def moment(stream=1, frame=4800, heard_frame=4800, heard_at_ms=51_100.0, beats=((5, 4, 0.25, 2.0),)):
    return {
        "type": "moment", "stream": stream, "frame": frame, "heard_frame": heard_frame,
        "heard_at_ms": heard_at_ms, "sample_rate": 48_000, "beats": beats, "peak_dbfs": -20.0,
    }  # fmt: skip


def turns_at(page, at_ms, low=5, high=4):
    source = "async ([low, high, at]) => (await import('/sound/clock.js')).turnsAt(low, high, at)"
    return page.evaluate(source, [low, high, at_ms])


def in_step(page):
    """The engine's clock is 50 s ahead of the page's; its word took 40 ms there and back."""
    page.evaluate("setClock(1040)")
    page.evaluate("shown({ type: 'pong', sent_ms: 1000, clock_ms: 51020 })")


def test_a_beat_is_shown_where_the_device_is_when_it_is_heard(page):
    """Frame 4800 is heard at 51,100 ms of the engine, 1100 of the page, a quarter turn after the loudest."""
    in_step(page)
    page.evaluate("(message) => shown(message)", moment())

    assert turns_at(page, 1100) == pytest.approx(0.25)
    assert turns_at(page, 1600) == pytest.approx(1.25)  # half a second at two turns a second
    assert turns_at(page, 1100, 9, 8) is None  # does not sound


def test_a_narrow_pair_turns_the_other_way(page):
    in_step(page)
    page.evaluate("(message) => shown(message)", moment(beats=((5, 4, 0.25, -2.0),)))

    assert turns_at(page, 1600) == pytest.approx(-0.75)


def test_a_frame_that_is_told_before_it_is_heard_is_waited_for(page):
    """The beat is told at frame 9600, while 4800 is heard: a tenth of a second later."""
    in_step(page)
    page.evaluate("(message) => shown(message)", moment(frame=9600))

    assert turns_at(page, 1200) == pytest.approx(0.25)


def test_the_clock_of_a_slow_answer_is_not_taken(page):
    """An answer that was long under way says little about the moment at which it was given."""
    in_step(page)
    page.evaluate("setClock(3000)")
    page.evaluate("shown({ type: 'pong', sent_ms: 2000, clock_ms: 52900 })")
    page.evaluate("(message) => shown(message)", moment())

    assert turns_at(page, 1100) == pytest.approx(0.25)


def test_a_small_step_of_the_device_is_smoothed_and_a_great_one_taken(page):
    """A hundredth of a second, 480 frames, is taken by two fifths; a second at once."""
    in_step(page)
    page.evaluate("(message) => shown(message)", moment())
    page.evaluate("(message) => shown(message)", moment(heard_frame=4800 + 480))
    frame = "async () => (await import('/sound/clock.js')).frameAt(1100)"
    assert page.evaluate(frame) == pytest.approx(4800 + 0.4 * 480)
    page.evaluate("(message) => shown(message)", moment(heard_frame=4800 + 48_000))

    assert page.evaluate(frame) == pytest.approx(4800 + 48_000)


def test_a_beat_under_way_does_not_jump_when_it_is_told_anew(page):
    """It was at a quarter; told to be at 0.35 it is still shown where it was, and gets there smoothly."""
    in_step(page)
    page.evaluate("(message) => shown(message)", moment(beats=((5, 4, 0.25, 0.0),)))
    page.evaluate("(message) => shown(message)", moment(beats=((5, 4, 0.35, 0.0),)))

    assert turns_at(page, 1040) == pytest.approx(0.25)
    assert turns_at(page, 1040 + 90) == pytest.approx(0.35 - 0.1 / np.e)
    assert turns_at(page, 9000) == pytest.approx(0.35)


@pytest.mark.parametrize("turned", [1.0, 3.0, 7.0])
def test_strands_do_not_change_places_when_the_engine_tells_where_a_beat_is(page, turned):
    """It tells that within one turn; in the picture all is where it was after two, with the other on top
    after one.
    """
    in_step(page)
    page.evaluate("(message) => shown(message)", moment(beats=((5, 4, 0.25, 2.0),)))
    page.evaluate("(later) => setClock(1040 + later)", 1000 * turned / 2)
    frame = 4800 + round(24_000 * turned)
    page.evaluate("(message) => shown(message)", moment(frame=frame, beats=((5, 4, 0.25, 2.0),)))

    assert turns_at(page, 1100 + 1000 * turned / 2) == pytest.approx(0.25 + turned)


def test_a_page_that_plays_itself_knows_its_own_frame(page):
    in_step(page)
    page.evaluate("(message) => shown(message)", moment())
    page.evaluate("""async () => {
      const { useLoudspeaker } = await import("/sound/clock.js");
      useLoudspeaker((at) => ({ frame: 9600, at: 1100, rate: 48000 }));
    }""")

    assert turns_at(page, 1100) == pytest.approx(0.25 + 2 * 4800 / 48_000)


def by_itself(page, module, expression):
    """What an expression of a module by itself gives."""
    return page.evaluate(
        f"async () => {{ const it = await import('/sound/{module}'); return {expression}; }}"
    )


@pytest.mark.parametrize("late", [0, 7, 40])
def test_of_many_trips_the_quickest_says_the_time(kept_page, late):
    """Ways of up to 300 ms, each another: the clock is 50 s ahead, and known to half the quickest trip."""
    there = [1, 80, 300, 3, 150, 20, 9, 44]
    back = [200, 2, 30, 4, 1, 90, 120, 60]
    trips = [[1000 * n, 51_000 + 1000 * n + a, 1000 * n + a + b + late] for n, (a, b) in
             enumerate(zip(there, back, strict=True))]  # fmt: skip
    ahead = by_itself(
        kept_page, "trips.js", f"{trips}.reduce((t, one) => (t.add(...one), t), new it.Trips()).ahead"
    )

    assert abs(ahead - 51_000) <= (3 + 4 + late) / 2
    assert by_itself(kept_page, "trips.js", "new it.Trips().ahead") is None


def test_clocks_drift_so_an_old_trip_counts_less(kept_page):
    """Two crystals, 50 parts in a million apart: after ten minutes the quickest trip is 30 ms wrong."""
    trips = [[0, 1, 2], *([600_000 + n, 600_000 + n + 30 + 5, 600_000 + n + 10] for n in range(3))]
    ahead = by_itself(
        kept_page, "trips.js", f"{trips}.reduce((t, one) => (t.add(...one), t), new it.Trips()).ahead"
    )

    assert ahead == pytest.approx(30)


@pytest.mark.parametrize(
    ("line", "first", "soonest", "begin", "skip", "replaces"),
    [
        ("{ end: 0, shift: null }", 0, 500, 500, 0, False),  # the first of all
        ("{ end: 1000, shift: 500 }", 1000, 700, 1500, 0, False),  # goes on where the one before ends
        ("{ end: 1000, shift: 500 }", 1000, 1700, 1700, 0, False),  # after a gap
        ("{ end: 1000, shift: 500 }", 600, 900, 1100, 0, True),  # a change, in time
        ("{ end: 1000, shift: 500 }", 600, 1250, 1250, 150, True),  # a change, 150 frames late
        ("{ end: 1000, shift: 500 }", 600, 1700, 1700, 0, False),  # one that is over before it could begin
    ],
)
def test_a_piece_goes_where_its_frames_are(kept_page, line, first, soonest, begin, skip, replaces):
    """Frames of the context lie 500 after the engine's; the piece has 500 frames."""
    piece = f"{{ first: {first}, frames: 500 }}"
    at = by_itself(kept_page, "pieces.js", f"it.placed({line}, {piece}, {soonest})")

    assert (at["begin"], at["skip"], at["replaces"]) == (begin, skip, replaces)
    assert at["line"] == {"end": first + 500, "shift": begin - first - skip}


def test_a_piece_that_is_late_comes_up_over_what_was_there(kept_page):
    """Ones over twos from frame 120 on: 10 frames at 1000 a second, the second side alike."""
    left, right = by_itself(kept_page, "pieces.js", """(() => {
      const of = (first, value) =>
        ({ first, left: new Float32Array(100).fill(value), right: new Float32Array(100).fill(-value) });
      const piece = of(100, 1);
      it.crossfade(piece, [of(0, 9), of(110, 2)], 20, 1000);
      return [[...piece.left], [...piece.right]];
    })()""")  # fmt: skip
    assert left[20:30] == pytest.approx([1.95 - 0.1 * n for n in range(10)])
    assert left[:20] + left[30:] == [1] * 90
    assert right == [-one for one in left]


def test_what_both_ears_have_alike_may_come_up_over_what_differs(kept_page):
    """Its two sides are one array until then."""
    left, right = by_itself(kept_page, "pieces.js", """(() => {
      const of = (value) => new Float32Array(100).fill(value);
      const alike = of(1), piece = { first: 0, left: alike, right: alike };
      it.crossfade(piece, [{ first: 0, left: of(3), right: of(-3) }], 0, 1000);
      return [[...piece.left.slice(0, 10)], [...piece.right.slice(0, 10)]];
    })()""")  # fmt: skip
    assert left == pytest.approx([2.9 - 0.2 * n for n in range(10)])
    assert right == pytest.approx([-2.8 + 0.4 * n for n in range(10)])


# -- the picture of a beat ----------------------------------------------------------------------------------

DRAW = """async ([turns, rate, rough, later]) => {
  const { draw, strands } = await import("/static/strands.js");
  const picture = document.body.appendChild(strands());
  picture.style.cssText = "position: fixed; left: 0; top: 0; width: 400px; height: 60px";
  draw(picture, { turns, at: 1000, perSecond: rate }, { rough, quiet: false });
  for (const one of picture.getAnimations({ subtree: true })) {
    const { startTime } = one;
    one.pause();
    one.currentTime = 1000 + later - startTime;
  }
  const [strip, , low, high, meet] = picture.children;
  const at = (one) => new DOMMatrix(getComputedStyle(one).transform);
  const seen = new OffscreenCanvas(400, 60).getContext("2d");
  const width = parseFloat(getComputedStyle(strip).width);
  seen.drawImage(strip, at(strip).m41, 0, width, 60);
  const pixels = seen.getImageData(0, 0, 400, 60).data;
  const found = {
    strip: btoa(pixels.reduce((text, one) => text + String.fromCharCode(one), "")),
    moves: picture.getAnimations({ subtree: true }).length,
    low: at(low).m42, high: at(high).m42,
    meets: [at(meet).a, Number(getComputedStyle(meet).opacity)],
  };
  picture.remove();
  return found;
}"""
COLOUR = """(name) => {
  const pen = document.createElement("canvas").getContext("2d");
  const style = getComputedStyle(document.documentElement);
  pen.fillStyle = name.startsWith("--") ? style.getPropertyValue(name).trim() : name;
  pen.fillRect(0, 0, 1, 1);
  return [...pen.getImageData(0, 0, 1, 1).data];
}"""
NOW = 120  # three tenths of 400 pixels


def drawn(page, turns, rate, rough=False, later=0.0):
    """The strands and the beads, so many ms after the moment at which the beat had turned so far."""
    found = page.evaluate(DRAW, [turns, rate, rough, later])
    pixels = np.frombuffer(base64.b64decode(found["strip"]), np.uint8)
    return {**found, "strip": pixels.reshape(60, 400, 4).astype(int)}


def rows_of(page, strip, column, name):
    """The rows of a column that have a colour of the page."""
    colour = np.array(page.evaluate(COLOUR, name))
    return np.flatnonzero((np.abs(strip[:, column] - colour) < 8).all(axis=1))


@pytest.mark.parametrize("rate", [1.7, -1.7, 3.3, -12.9, 0.3, 0.03, 0.01])
def test_the_strands_are_drawn_where_the_phase_is(kept_page, rate):
    """Whatever the rate, and however many turns ago: both cross a column within a pixel of the sine."""
    for turns, later in ((0, 0), (0.25, 700), (1.3, 0), (-7.9, 90), (1234.4, 0)):
        if abs(rate) < 0.02:
            later = 0  # drawn anew when the engine says where it is
        strip = drawn(kept_page, turns, rate, later=later)["strip"]
        for column in (10, 50, 200, 390):
            rows = np.flatnonzero(strip[:, column, 3] > 100)
            phase = turns + rate * (later / 1000 + 5 / 400 * (column + 0.5 - NOW))  # five seconds across
            for side in (1, -1):
                wanted = 30 + side * 0.36 * 60 * np.sin(np.pi * phase)
                assert np.abs(rows + 0.5 - wanted).min() < 1.2


@pytest.mark.parametrize("rate", [2.0, -2.0, 0.01])
@pytest.mark.parametrize("turns", [0.25, 0.5, -0.25, 1.25])
def test_the_beads_ride_on_their_strands(kept_page, turns, rate):
    found = drawn(kept_page, turns, rate)
    wanted = 0.36 * 60 * np.sin(np.pi * turns)

    assert (found["low"], found["high"]) == (pytest.approx(wanted, abs=0.3), pytest.approx(-wanted, abs=0.3))


def test_the_beads_meet_where_it_is_loud_and_not_where_it_is_faint(kept_page):
    """Full and opaque, or small and not to be seen; and the strands are bright where they meet."""
    loud, faint = drawn(kept_page, 0.0, 1.0), drawn(kept_page, 0.5, 1.0)

    assert loud["meets"] == pytest.approx([1.0, 1.0], abs=0.01)
    assert faint["meets"] == pytest.approx([3 / 7, 0.0], abs=0.01)
    assert len(rows_of(kept_page, loud["strip"], NOW, "--ink")) >= 1
    assert len(rows_of(kept_page, faint["strip"], NOW, "--ink")) == 0


def test_a_pure_pair_lies_together_and_stands(kept_page):
    """One braid, whenever it is looked at."""
    one, other = drawn(kept_page, 0.0, 0.0), drawn(kept_page, 0.3, 0.0)
    rows = np.flatnonzero(one["strip"][..., 3].any(axis=1))

    assert (one["strip"] == other["strip"]).all()
    assert (one["moves"], one["low"], one["meets"]) == (0, 0, [1, 1])
    assert 26 <= rows.min() <= rows.max() <= 34


def test_what_is_too_fast_to_count_does_not_move(kept_page):
    one, other = (drawn(kept_page, turns, 20.0, rough=True) for turns in (0.0, 0.4))

    assert (one["strip"] == other["strip"]).all()
    assert one["strip"][..., 3].any()
    assert one["moves"] == 0


def test_strands_are_moved_by_the_browser_and_set_right_when_they_are_off(page):
    """A millisecond is left alone, ten are not; the animation itself stays."""
    starts = page.evaluate("""async () => {
      const { draw, strands } = await import("/static/strands.js");
      const picture = document.body.appendChild(strands());
      picture.style.cssText = "position: fixed; left: 0; top: 0; width: 400px; height: 60px";
      const found = [0, 0.001, 0.01].map((late) => {
        draw(picture, { turns: 0.5, at: 1000 + 1000 * late, perSecond: 1 }, { rough: false, quiet: false });
        return picture.getAnimations({ subtree: true }).map((one) => one.startTime);
      });
      picture.remove();
      return found;
    }""")

    assert starts == [[500] * 4, [500] * 4, [510] * 4]


def test_strands_are_drawn_anew_where_the_page_gives_them_another_size(page):
    """Nobody asks for that: a screen that is turned, a part that is opened, a fold."""
    page.evaluate("""async () => {
      const { draw, strands } = await import("/static/strands.js");
      const picture = document.body.appendChild(strands());
      picture.id = "sized";
      picture.style.cssText = "position: fixed; left: 0; top: 0; width: 400px; height: 60px";
      draw(picture, { turns: 0.5, at: 1000, perSecond: 1 }, { rough: false, quiet: true });
      picture.style.width = "200px";
    }""")

    page.wait_for_selector("#sized canvas[width='200']")
    page.evaluate("document.getElementById('sized').style.display = 'none'")
    page.evaluate("document.getElementById('sized').style.cssText = 'width: 300px; height: 60px'")
    page.wait_for_selector("#sized canvas[width='300']")


# -- tapping ------------------------------------------------------------------------------------------------


def tap(page, *times_ms):
    for at in times_ms:
        page.evaluate(
            """(at) => {
              const event = new PointerEvent("pointerdown", { bubbles: true });
              Object.defineProperty(event, "timeStamp", { value: at });
              document.getElementById("tap-here").dispatchEvent(event);
            }""",
            at,
        )


def test_every_tap_counts(page):
    tap(page, 1000, 1500, 2000, 2500, 3000)

    assert asked(page, "tapped")[-1]["times_ms"] == [1000, 1500, 2000, 2500, 3000]


def test_two_taps_are_not_a_rate_yet(page):
    tap(page, 1000, 1500)

    assert page.evaluate("asked.filter((one) => one.do !== 'ping')") == []
    assert page.locator("#tap .counted").inner_text() == "2 taps; you need at least 3"


def test_taps_after_a_rest_begin_anew_and_slow_ones_do_not(page):
    tap(page, 1000, 4900, 8800)
    assert asked(page, "tapped")[-1]["times_ms"] == [1000, 4900, 8800]
    tap(page, 12_900, 13_400, 13_900)

    assert asked(page, "tapped")[-1]["times_ms"] == [12_900, 13_400, 13_900]


def test_taps_are_for_the_pair_that_is_chosen(page):
    tap(page, 1000, 1500)
    page.select_option("#tap-pair", index=1)
    low, high = page.locator("#tap-pair").input_value().split()
    tap(page, 2000, 2500, 3000)

    assert asked(page, "tapped") == [{"low": low, "high": high, "times_ms": [2000, 2500, 3000]}]


def test_what_was_counted_is_asked_as_it_was_typed(page):
    page.fill("#count-beats", "7")
    page.fill("#count-seconds", "20")
    page.click("#count-done")

    (counted,) = asked(page, "counted")
    assert (counted["beats"], counted["seconds"]) == (7, 20)


# -- pairs, strings, changes and the bar --------------------------------------------------------------------


def test_a_touch_on_a_pair_leaves_only_its_beat_and_another_brings_all_back(page, engine_shows):
    pair = engine_shows["view"]["pairs"][0]
    page.click(f"[data-pair='{pair['low']}-{pair['high']}']")
    assert asked(page, "only") == [{"low": pair["low"], "high": pair["high"]}]
    view_with(page, engine_shows, only=[pair["low"], pair["high"]])
    page.click(f"[data-pair='{pair['low']}-{pair['high']}']")

    assert asked(page, "only")[-1] == {}


def test_a_pair_says_its_rate_and_its_side(page, engine_shows):
    pair = engine_shows["view"]["pairs"][0]
    card = page.locator(f"[data-pair='{pair['low']}-{pair['high']}']")

    assert card.locator(".rate").inner_text() == pair["rate"]
    assert card.locator(".direction").inner_text() == pair["direction"]
    assert card.get_attribute("data-direction") == pair["direction"]


def string_of(engine_shows, number):
    return next(one for one in engine_shows["view"]["strings"] if one["number"] == number)


def show_string(page, engine_shows, number, **changed):
    """Show the same view with something else of one string."""
    strings = [
        {**one, **(changed if one["number"] == number else {})} for one in engine_shows["view"]["strings"]
    ]
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "strings": strings})


@pytest.mark.parametrize(
    ("name", "cents"),
    [("5 cents lower", -5), ("1 cent lower", -1), ("A tenth of a cent lower", -0.1),
     ("A tenth of a cent higher", 0.1), ("1 cent higher", 1), ("5 cents higher", 5)],
)  # fmt: skip
def test_a_step_goes_the_way_it_says(page, engine_shows, name, cents):
    page.click("tr[data-string='5'] .note")
    page.click(f"#string [aria-label^='{name}']")

    (step,) = asked(page, "offset")
    now = string_of(engine_shows, 5)["offset_cents"]
    assert (step["string"], step["offset_cents"]) == (5, pytest.approx(now + cents))


def test_two_cents_flatter_are_three_touches_whether_the_program_answers_between_or_not(page, engine_shows):
    page.click("tr[data-string='6'] .note")
    page.click("[data-step='-1']")
    page.click("[data-step='-1']")
    first, second = asked(page, "offset")
    now = string_of(engine_shows, 6)["offset_cents"]
    assert second["offset_cents"] == pytest.approx(now - 2)
    assert first["gesture"] != second["gesture"]  # undone one by one


def test_a_step_that_is_held_repeats_until_it_is_let_go_and_is_undone_as_one(page, engine_shows):
    page.click("tr[data-string='5'] .note")
    page.hover("[data-step='1']")
    page.mouse.down()
    page.wait_for_function("asked.filter((one) => one.do === 'offset').length >= 3")
    page.mouse.up()
    steps = asked(page, "offset")
    page.evaluate("asked.length = 0")
    page.click("[data-step='0.1']")

    now = string_of(engine_shows, 5)["offset_cents"]
    assert [one["offset_cents"] for one in steps] == [
        pytest.approx(now + place + 1) for place in range(len(steps))
    ]
    assert len({one["gesture"] for one in steps}) == 1
    assert len(asked(page, "offset")) == 1  # nothing goes on


def test_a_step_says_its_beats_before_and_after(page, engine_shows):
    page.click("tr[data-string='4'] .note")
    string = string_of(engine_shows, 4)
    minus = page.locator("[data-step='-1']")
    promised = string["steps"][1]["beats"]
    assert minus.get_attribute("aria-label") == f"1 cent lower: {promised}"
    assert minus.locator("small").inner_text() == promised.split(",")[0]
    assert page.locator("#offset-said").inner_text() == f"{string['beats']} with {string['heard_with']}"

    minus.click()
    show_string(page, engine_shows, 4, offset_cents=string["offset_cents"] - 1, beats=promised)
    assert page.locator("#offset-said").inner_text() == (
        f"{promised} with {string['heard_with']} · was +0.0 c, {string['beats']}"
    )


def test_an_offset_is_typed_over_what_stands_there(page):
    page.click("tr[data-string='6'] .note")
    page.click("#offset-typed")
    page.keyboard.type("−13.7")
    page.keyboard.press("Enter")

    (typed,) = asked(page, "offset")
    assert (typed["string"], typed["offset_cents"]) == (6, -13.7)


@pytest.mark.parametrize("written", ["flat", "60", ""])
def test_what_is_no_offset_is_said_at_the_field_and_stays_to_be_mended(page, written):
    page.fill("#offset-typed", written)
    page.keyboard.press("Enter")

    assert page.locator("#offset-said").inner_text() == "Write cents from −50 to +50, such as −13.7"
    assert page.locator("#offset-typed").input_value() == written
    assert page.evaluate("asked.filter((one) => one.do === 'offset')") == []


# -- fingers ------------------------------------------------------------------------------------------------


class Fingers:
    """Fingers on a page, by Chromium's emulation of a touch screen: each by its name."""

    def __init__(self, page):
        self._session = page.context.new_cdp_session(page)
        self._session.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 5})
        self._page, self._down = page, {}

    def _dispatch(self, kind):
        points = [{"id": name, "x": x, "y": y} for name, (x, y) in self._down.items()]
        self._session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def put(self, where, finger=1, across=0.5, up=0.5):
        """Put a finger on a thing, at a share of its width and height."""
        thing = self._page.locator(where)
        thing.evaluate("(one) => one.scrollIntoView({ block: 'center' })")
        box = thing.bounding_box()
        self._down[finger] = (box["x"] + across * box["width"], box["y"] + (1 - up) * box["height"])
        self._dispatch("touchStart")

    def move(self, x=0, y=0, finger=1):
        from_x, from_y = self._down[finger]
        self._down[finger] = (from_x + x, from_y + y)
        self._dispatch("touchMove")

    def lift(self, finger=1):
        x, y = self._down.pop(finger)
        lifted = [{"id": finger, "x": x, "y": y}] if self._down else []  # the last one needs no name
        self._session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": lifted})

    def cancel(self):
        """The browser takes the touch for something else, such as a scroll."""
        self._down.clear()
        self._dispatch("touchCancel")

    def leave(self):
        """Take all of them away, and the screen that they touched."""
        if self._down:
            self.cancel()
        self._session.send("Emulation.setTouchEmulationEnabled", {"enabled": False})
        self._session.detach()


@pytest.fixture
def fingers(page):
    touching = Fingers(page)
    yield touching
    touching.leave()


@pytest.mark.parametrize("across", [0.02, 0.5, 0.98])
@pytest.mark.parametrize("where", [".drag", "tr[data-string='4'] .rail"])
def test_a_stray_touch_leaves_every_string_where_it_is(page, fingers, where, across):
    page.click("tr[data-string='4'] .note")
    page.evaluate("asked.length = 0")
    fingers.put(where, across=across)
    fingers.move(x=2)
    fingers.lift()
    page.click("[data-step='1']")

    (step,) = asked(page, "offset")  # of the button alone
    assert step["offset_cents"] == pytest.approx(1.0)


@pytest.mark.parametrize("across", [0.1, 0.9])
def test_a_drag_is_counted_from_where_it_began(page, fingers, across):
    """A tenth of a cent for each pixel, wherever on the slider."""
    page.click("tr[data-string='4'] .note")
    fingers.put(".drag", across=across)
    fingers.move(x=-15)
    fingers.move(x=-15)
    page.wait_for_function("asked.some((one) => one.offset_cents === -3)")
    fingers.lift()


def test_a_drag_that_becomes_a_scroll_is_taken_back(page, fingers):
    page.click("tr[data-string='4'] .note")
    fingers.put(".drag")
    fingers.move(x=20)
    page.wait_for_function("asked.some((one) => one.offset_cents === 2)")
    fingers.cancel()
    page.wait_for_function("asked.at(-1).offset_cents === 0")


@pytest.mark.parametrize("size", [(1440, 900), (1024, 768), (390, 844)])
def test_the_string_is_in_view_wherever_the_page_is_scrolled_to(page, size):
    page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
    for share in (0, 0.5, 1):
        page.evaluate("(share) => scrollTo(0, share * document.body.scrollHeight)", share)
        expect(page.locator("#string")).to_be_in_viewport(ratio=1)


def slide(page, selector, value):
    page.evaluate("asked.length = 0")
    page.evaluate(
        """([selector, value]) => {
          const slider = document.querySelector(selector);
          slider.value = value;
          slider.dispatchEvent(new Event("input"));
        }""",
        [selector, value],
    )


def engaged(page):
    return [(one["change"], one["travel"]) for one in asked(page, "engage")]


def show_changes(page, engine_shows, **travels):
    """Show the same view with these changes engaged."""
    view = engine_shows["view"]
    changes = [{**one, "travel": travels.get(one["name"], 0)} for one in view["changes"]]
    page.evaluate("(message) => shown(message)", {**view, "changes": changes})


def test_a_pad_is_down_while_it_is_touched(page, engine_shows, fingers):
    show_changes(page, engine_shows)
    fingers.put("#board [data-change='A']")
    assert engaged(page) == [("A", 1)]
    page.evaluate("asked.length = 0")
    fingers.lift()

    assert engaged(page) == [("A", 0)]


def test_two_fingers_hold_two_pads(page, engine_shows, fingers):
    show_changes(page, engine_shows)
    fingers.put("#board [data-change='A']", finger=1)
    fingers.put("#board [data-change='B']", finger=2)
    fingers.lift(1)
    page.wait_for_function("asked.filter((one) => one.do === 'engage').length === 3")

    assert engaged(page) == [("A", 1), ("B", 1), ("A", 0)]


def test_the_lock_keeps_what_is_touched_and_lets_go_of_all(page, engine_shows, fingers):
    show_changes(page, engine_shows)
    page.click("#lock")
    fingers.put("#board [data-change='A']")
    fingers.lift()
    show_changes(page, engine_shows, A=1)
    fingers.put("#board [data-change='A']")
    fingers.lift()
    page.click("#lock")

    assert [one for one in page.evaluate("asked") if one["do"] != "ping"] == [
        {"do": "engage", "change": "A", "travel": 1},
        {"do": "engage", "change": "A", "travel": 0},
        {"do": "release"},
    ]


@pytest.mark.parametrize(("up", "travel"), [(20, 0.8), (47, 0.5), (53, 0.5), (60, 0.4), (100, 0), (140, 0)])
def test_a_slide_up_lets_a_pad_rise_and_catches_at_the_half_stop(page, engine_shows, fingers, up, travel):
    show_changes(page, engine_shows)
    page.click("#lock")
    fingers.put("#board [data-change='A']")
    fingers.move(y=-up)
    page.wait_for_function("asked.filter((one) => one.do === 'engage').length === 2")
    fingers.lift()

    assert engaged(page) == [("A", 1), ("A", travel)]


def test_a_pad_catches_where_the_lever_has_its_half_stop(page, engine_shows, fingers):
    """One whose half-stop is at 0.3 catches there, and no longer half-way."""
    view = engine_shows["view"]
    levers = [{**one, "travel": 0, "half_stops": [0.3]} for one in view["changes"]]
    page.evaluate("(message) => shown(message)", {**view, "changes": levers})
    fingers.put("#board [data-change='DD']")
    fingers.move(y=-48)
    page.wait_for_function("asked.some((one) => one.travel === 0.52)")
    fingers.move(y=-20)
    page.wait_for_function("asked.some((one) => one.travel === 0.3)")
    fingers.lift()


def test_a_touch_on_a_half_stop_engages_its_lever_half_way(page, engine_shows):
    page.click("tr[data-string='2'] [aria-label^='String 2 DD:0.5']")
    assert asked(page, "engage") == [{"change": "DD", "travel": 0.5}]
    view = engine_shows["view"]
    half = [{**one, "travel": 0.5} if one["name"] == "DD" else one for one in view["changes"]]
    page.evaluate("(message) => shown(message)", {**view, "changes": half})
    page.click("tr[data-string='2'] [aria-label^='String 2 DD:0.5']")
    page.click("tr[data-string='2'] [aria-label^='String 2 DD,']")
    assert asked(page, "engage")[1:] == [{"change": "DD", "travel": 0}, {"change": "DD", "travel": 1}]


@pytest.mark.parametrize(("where", "fret"), [(3.1, 3), (2.9, 3), (3.2, 3.2)])
def test_the_bar_catches_at_a_fret(page, where, fret):
    slide(page, "#bar", where)

    assert asked(page, "bar") == [{"fret": fret}]


@pytest.mark.parametrize(("key", "fret"), [("ArrowRight", 4), ("ArrowLeft", 2), ("Shift+ArrowRight", 3.05)])
def test_keys_move_the_bar_by_a_fret_or_a_little(page, engine_shows, key, fret):
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "fret": 3.0})
    page.focus("#bar")
    page.keyboard.press(key)

    assert asked(page, "bar") == [{"fret": fret}]


def touch_neck(page, fingers, fret):
    """Put a finger on the neck at a fret, or between two."""
    share = page.evaluate(
        """(fret) => {
          const [frets, wood] = [".frets", ".wood"].map((one) =>
            document.querySelector(one).getBoundingClientRect());
          const bar = document.getElementById("bar");
          return (frets.left + frets.width * fret / bar.max - wood.left) / wood.width;
        }""",
        fret,
    )
    fingers.put(".wood", across=share)


@pytest.mark.parametrize(("where", "fret"), [(3.1, 3), (4.6, 5), (0.3, 0), (7.45, 7), (23.8, 24)])
def test_a_touch_goes_to_the_nearest_fret(page, fingers, where, fret):
    touch_neck(page, fingers, where)
    fingers.move(x=2)
    fingers.lift()

    assert asked(page, "bar") == [{"fret": fret}]


def test_the_neck_is_high_enough_for_a_finger(page):
    """40 px at least, as everything that is touched."""
    assert page.locator(".wood").bounding_box()["height"] >= 40


def test_a_slide_slants_off_the_fret_and_a_scroll_takes_the_bar_back(page, fingers):
    fret_pixels = page.locator(".frets").bounding_box()["width"] / 24
    touch_neck(page, fingers, 5)
    fingers.move(x=0.4 * fret_pixels)
    page.wait_for_function("asked.some((one) => Math.abs(one.fret - 5.4) < 0.02)")
    fingers.cancel()
    page.wait_for_function("asked.at(-1).fret === 0")


def test_plus_and_minus_go_from_fret_to_fret(page, engine_shows):
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "fret": 5.3})
    page.click("[aria-label='A fret up']")
    assert asked(page, "bar") == [{"fret": 6}]
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "fret": 5.3})
    page.click("[aria-label='A fret down']")
    page.wait_for_function("asked.at(-1).fret === 5")


def test_a_click_on_a_pad_engages_it_and_another_lets_it_go(page):
    page.click("#board [data-change='C']")
    page.click("#board [data-change='A']")  # is engaged

    assert asked(page, "engage") == [{"change": "C", "travel": 1}, {"change": "A", "travel": 0}]


def test_a_touch_on_a_string_takes_it_into_the_grip_or_out_of_it(page):
    page.click("tr[data-string='6'] .pick")
    page.click("tr[data-string='4'] .pick")

    assert [sorted(one["strings"]) for one in asked(page, "strings")] == [[3, 4, 5, 6], [3, 5]]


def wire_above_notch(page, string=4):
    """Pixels by which the middle of a string's wire runs above that of its notch."""
    middle = (
        "(element) => { const { top, bottom } = element.getBoundingClientRect(); return (top + bottom) / 2; }"
    )
    rail = page.locator(f"tr[data-string='{string}'] .rail")
    return rail.locator(".notch").evaluate(middle) - rail.locator(".wire").evaluate(middle)


@pytest.mark.parametrize(("cents", "way"), [(0.0, 0), (0.3, 1), (7.0, 1), (-0.3, -1), (-400.0, -1)])
def test_the_wire_lies_in_its_notch_where_the_string_is_at_its_target(page, engine_shows, cents, way):
    """Sharp it runs above, flat below; however far off, it stays in its row."""
    strings = [
        {**string, "target_cents": -13.7, "offset_cents": -13.7 + cents} if string["number"] == 4 else string
        for string in engine_shows["view"]["strings"]
    ]
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "strings": strings})
    above = wire_above_notch(page)

    assert abs(above) < 0.6 if way == 0 else 2 < way * above < 11
    assert page.locator("tr[data-string='4'] .rail").get_attribute("data-lies") == str(way == 0).lower()


def test_on_paper_it_says_what_the_chart_was_made_with(page, engine_shows):
    setting = {
        **engine_shows["view"]["setting"], "temperament": "five-limit-just", "drop": "demo-soft-cabinet",
        "root": 7, "reference_hz": 442.0,
    }  # fmt: skip
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "setting": setting})
    assert page.locator("#printed").is_hidden()
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    words = page.locator("#printed").inner_text()

    assert page.locator("#printed").is_visible()
    for said in ("Five-limit just on G", "a light cabinet", "A4 = 442 Hz", str(datetime.now().year)):
        assert said in words


@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_in_the_readers_own_colours_all_is_drawn_in_them(page, scheme):
    """CSS Color Adjustment, forced colours: wires, strands and what is pressed have the system's colours."""
    page.emulate_media(forced_colors="active", color_scheme=scheme)
    page.evaluate("dispatchEvent(new Event('look'))")
    of = {name: page.evaluate(COLOUR, f"--{name}") for name in ("ground", "line", "low", "high", "press")}
    system = {name: page.evaluate(COLOUR, name) for name in ("Canvas", "CanvasText", "Highlight")}
    wire = page.locator("tr[data-string='1'] .rail .wire").evaluate(
        "(wire) => getComputedStyle(wire).backgroundColor"
    )

    assert of == {
        "ground": system["Canvas"], "line": system["CanvasText"], "low": system["Highlight"],
        "high": system["CanvasText"], "press": system["Highlight"],
    }  # fmt: skip
    assert [int(part) for part in re.findall(r"\d+", wire)][:3] == system["CanvasText"][:3]
    assert len(rows_of(page, drawn(page, 0.25, 0.03)["strip"], 200, "--low")) >= 1


def test_an_offset_follows_the_hand_along_the_rail(page, engine_shows):
    """A tenth of a cent for each pixel, to the right higher."""
    now = string_of(engine_shows, 4)["offset_cents"]
    rail = page.locator("tr[data-string='4'] .rail").bounding_box()
    x, y = rail["x"] + rail["width"] / 2, rail["y"] + rail["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y)
    page.wait_for_function("asked.some((one) => one.do === 'offset')")
    page.mouse.up()

    assert asked(page, "offset")[-1]["offset_cents"] == pytest.approx(now + 3.0, abs=0.05)


def test_the_mute_button_mutes(page, engine_shows):
    page.click("#mute")
    assert asked(page, "mute") == [{"on": True}]
    view_with(page, engine_shows, muted=True)
    page.click("#mute")

    assert asked(page, "mute")[-1] == {"on": False}


def test_a_message_is_read_as_it_came(page):
    """The engine's fault is shown in its own words."""
    page.evaluate("(text) => shown({ type: 'fault', text })", json.loads('"fret 25 is off the neck"'))

    assert page.locator("#fault").inner_text().startswith("fret 25 is off the neck")


# -- the set on the stage ------------------------------------------------------------------------------------

SONGS = [
    {"number": 1, "name": "Invented Waltz", "key": "G", "fret": "3", "line": "Intro alone"},
    {"number": 2, "name": "Borrowed Shoes", "key": "D", "fret": "10", "line": "Count in slow"},
]


def on_stage(page, **changed):
    evening = {
        "type": "evening", "name": "page", "title": "Invented", "songs": SONGS, "now": 1, "next": 2,
        "words": "", "rig": "", **changed,
    }  # fmt: skip
    page.evaluate("(message) => shown(message)", evening)
    page.evaluate("location.hash = 'evening'")
    page.wait_for_selector("#set-next")
    page.evaluate("asked.length = 0")


def asked_so_far(page):
    return [one["do"] for one in page.evaluate("asked") if one["do"] != "ping"]


def down_on(page, selector):
    box = page.locator(selector).bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()


@pytest.fixture
def stop_the_clock(page):
    """Once called, time passes only as the test says, however busy the machine is; after it time goes on."""
    stopped = []

    def stop():
        stopped.append(True)
        page.clock.install(time=0)
        page.clock.pause_at(1000)

    yield stop
    if stopped:
        page.clock.resume()


def test_a_press_goes_on_once_it_was_held_for_a_moment(page, stop_the_clock):
    on_stage(page)
    stop_the_clock()
    down_on(page, "#set-next")
    page.clock.run_for(290)
    assert asked_so_far(page) == []
    page.clock.run_for(20)
    assert asked_so_far(page) == ["nextsong"]
    page.clock.run_for(5000)
    page.mouse.up()
    page.clock.run_for(5000)
    assert asked_so_far(page) == ["nextsong"]


def test_a_press_that_is_too_short_or_slides_away_does_nothing(page, stop_the_clock):
    on_stage(page)
    stop_the_clock()
    down_on(page, "#set-next")
    page.clock.run_for(290)
    page.mouse.up()
    page.clock.run_for(1000)
    down_on(page, "#set-previous")
    page.mouse.move(5, 5)
    page.clock.run_for(1000)
    page.mouse.up()
    assert asked_so_far(page) == []


def test_the_space_bar_goes_on_once_however_long_it_is_down(page):
    on_stage(page)
    page.keyboard.down("Space")
    page.keyboard.down("Space")  # which the browser says is a repeat
    page.keyboard.up("Space")
    assert asked_so_far(page) == ["nextsong"]
    page.focus("#set-next")
    page.keyboard.press("Space")
    assert asked_so_far(page) == ["nextsong", "nextsong"]
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    assert asked_so_far(page)[2:] == ["nextsong", "previoussong"]


def test_a_key_that_something_else_has_does_not_go_on(page):
    on_stage(page)
    page.focus("#mute")
    page.keyboard.press("Space")
    page.focus("#set-choice")
    page.keyboard.press("ArrowRight")
    page.focus("[data-number='2']")
    page.keyboard.press("Space")
    page.evaluate("location.hash = 'play'")
    page.wait_for_selector("#board", state="attached")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Space")
    assert asked_so_far(page) == ["mute", "openset", "shownext", "sound"]


def test_the_next_song_stands_large_and_the_song_now_small(page):
    on_stage(page)
    assert page.inner_text("#song-now") == "Now: Invented Waltz, G, fret 3"
    assert page.inner_text("#song-next").split() == ["Borrowed", "Shoes", "D"]
    assert (page.inner_text("#song-fret"), page.inner_text("#song-line")) == ("10", "Count in slow")
    name, fret = (page.evaluate(f"parseFloat(getComputedStyle({one}).fontSize)") for one in (
        "document.getElementById('song-next')", "document.getElementById('song-fret')",
    ))  # fmt: skip
    assert fret == pytest.approx(2 * name, rel=1e-4)
    on_stage(page, now=2, next=0)
    assert page.inner_text("#song-next").strip() == "That was the last song"
    assert page.is_disabled("#set-next")
    assert not page.is_visible("#song-fret")


# -- choices: what a hand goes through while answers come ---------------------------------------------------


def test_an_answer_to_an_earlier_choice_pushes_no_hand_back(page, engine_shows):
    """The arrow keys go down the ratios faster than the engine answers; its last word counts at the end."""
    two = engine_shows["two"]
    first, second, third = (one["ratio"] for one in two["ratios"][:3])

    def answer(ratio, ratios=two["ratios"]):
        page.evaluate(
            "(message) => shown(message)",
            {**two, "ratios": ratios, "written": {**two["written"], "ratio": ratio}},
        )

    answer(first)
    page.click("#tones summary")
    page.focus("#tone-ratio")
    expect(page.locator("#tone-ratio")).to_have_value(first)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    answer(second, [*two["ratios"], {"ratio": "99:70", "words": "as written"}])
    assert page.input_value("#tone-ratio") == third
    page.keyboard.press("ArrowUp")
    assert [one["ratio"] for one in asked(page, "tones")] == [second, third, second]
    answer(third)
    expect(page.locator("#tone-ratio")).to_have_value(third)


# -- the tuning order: a press counts, whatever the program has answered by then ---------------------------

STEP = {
    "against": "E4, 329.63 Hz", "engaged": "no pedals", "bar": "open", "count": "10 beats in 10 s, narrow",
    "rate": "1.00/s narrow", "interval": "3:2 fifth", "listen": "659 Hz, 2:1", "sounds_like": "a slow wave",
    "sure": "0.1 cents", "beats_per_second": -1.0, "audible": "beats",
}  # fmt: skip
STEPS = [{"tune": f"string {number}", **STEP} for number in range(1, 7)]


def show_step(page, at, heard="both"):
    plan = {
        "type": "order",
        "steps": STEPS,
        "checks": [],
        "cautions": [],
        "at": at,
        "heard": heard,
        "stale": False,
    }
    page.evaluate("(message) => shown(message)", plan)


@pytest.fixture
def order(page):
    page.evaluate("location.hash = 'order'")
    show_step(page, 0)
    page.wait_for_selector("#step-next")
    page.evaluate("asked.length = 0")
    return page


def steps_asked(page):
    return [(one["at"], one["heard"]) for one in asked(page, "step")]


def test_next_counts_each_time_however_late_the_answers_come(order, engine_shows):
    order.click("#step-next")
    order.click("#step-next")
    show_step(order, 1)  # answers the first of the two
    order.click("#step-next")
    view_with(order, engine_shows, sounding=True)  # and shows everything anew
    order.keyboard.press("ArrowRight")
    assert steps_asked(order) == [(1, "both"), (2, "both"), (3, "both"), (4, "both")]
    show_step(order, 2)
    assert "Step 5 of 6" in order.inner_text("#order")
    show_step(order, 4)
    show_step(order, 0)  # another tablet went there
    assert "Step 1 of 6" in order.inner_text("#order")


def test_what_is_heard_stays_when_next_comes_before_its_answer(order):
    order.click("#step-only")
    order.click("#step-next")
    assert steps_asked(order) == [(0, "beating"), (1, "beating")]


def test_an_answer_that_comes_while_next_is_pressed_down_takes_nothing_from_it(order):
    order.click("#step-next")
    down_on(order, "#step-next")
    show_step(order, 1)
    order.mouse.up()
    assert steps_asked(order) == [(1, "both"), (2, "both")]


# -- the set list -------------------------------------------------------------------------------------------


def test_the_order_of_the_set_list_is_changed_where_every_sets_is(page, engine_shows):
    songs = [{"name": name, "key": "G", "taken": False} for name in ("Waltz", "Polka")]
    page.evaluate("(message) => shown(message)", {**engine_shows["view"], "songs": songs})
    page.click("#change-songs")
    page.wait_for_selector("#set-change[open] summary:focus")
    assert page.evaluate("document.documentElement.dataset.part") == "evening"
    assert asked_so_far(page)[-1] == "editset"


def test_a_set_is_not_typed_in_before_its_rows_have_come(page):
    page.evaluate("location.hash = 'evening'")
    page.click("#set-change summary")
    [editing] = asked(page, "editset")
    assert page.locator("#add-song").is_hidden()
    song = {"was": 0, "name": "Waltz", "key": "G", "fret": "", "follows": "", "line": "", "grips": ""}
    rows = {"name": "demo", "may": "all", "title": "Demo", "stamp": "1", "songs": [song]}
    none = {"receivers": [], "controls": [], "faults": [], "by": editing["by"]}
    page.evaluate("(message) => shown(message)", {"type": "setrows", **rows, **none})
    assert page.locator("#add-song").is_visible()
    assert page.locator("#song-rows [data-field=name]").input_value() == "Waltz"
