"""The page in Debian's Chromium, driven as a player drives it; the sound is the browser's own, recorded."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import expect

from tests.measure import beat_of, splash_db
from tests.page.keyboard import tab_to
from tests.page.looking import broken_rules
from tests.real.loudspeaker import RECORD, WITHOUT_WORKLETS, hear_what_was_asked, recorded
from tonegen import presets
from tonegen.sounding import sound, tones_of_grip

PICTURES = Path(__file__).parents[1] / "pictures"
READINGS = """string,changes,cents
8,,3.0
8,,3.1
8,A,10.8
8,A,0.8
8,A,0.7
8,A,0.9
8,B,1.9
8,A+B,-0.4
6,,-11.0
6,A,-12.2
5,,1.0
5,B,0.2
"""


def rate(page, low, high):
    """The beat that the page shows for a pair, as it is read there."""
    return page.locator(f"[data-pair='{low}-{high}'] .rate").inner_text()


def expected(grip, changes, fret=0.0, temperament="equal"):
    """What the core computes, by pair of strings."""
    instrument = presets.instrument("e9-ten-string")
    state = instrument.state(changes)
    tones = tones_of_grip(
        instrument, instrument.grip_of(grip, state), state, fret, presets.temperament(temperament),
        presets.drop("none"), 440.0,
    )  # fmt: skip
    return {
        (interval.low.string, interval.high.string): interval.beats_per_second
        for interval in sound(tones, 440.0).intervals
    }


def test_engage_a_and_b_pick_a_grip_and_read_the_rates(opened):
    page = opened()
    page.click("[data-grip='E major 3-4-5']")
    page.click("#board [data-change=A]")
    page.click("#board [data-change=B]")
    page.wait_for_selector("#state:has-text('A+B')")
    for (low, high), beats in expected((3, 4, 5), ["A", "B"]).items():
        row = page.locator(f"[data-pair='{low}-{high}']")
        assert row.locator(".rate").inner_text() == (
            f"{abs(beats):.0f}/s" if abs(beats) > 15 else f"{abs(beats):.2f}/s"
        )
        assert row.get_attribute("data-direction") == ("wide" if beats > 0 else "narrow")
    page.focus("#bar")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.wait_for_selector("#state:has-text('fret 3')")
    beats = expected((3, 4, 5), ["A", "B"], fret=3)[4, 3]
    assert rate(page, 4, 3) == f"{abs(beats):.2f}/s"


def test_a_half_stop_by_sliding(opened):
    page = opened()
    box = page.locator("#board [data-change=DD]").bounding_box()
    page.mouse.move(box["x"] + 9, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 9, box["y"] - 8, steps=4)
    page.mouse.up()
    page.wait_for_selector("#state:has-text('DD at 0.5')")
    assert page.locator("tr[data-string='2'] .note").inner_text() == "D4"


def test_an_offset_is_dragged_and_the_recorded_beat_is_the_one_shown(opened):
    """Without a device the page in which the sound was begun plays it; nothing clicks on the way.

    Browsers give worklets only to pages of their own machine: it does without, as a tablet must.
    """
    page = opened(bypass_csp=True, before=WITHOUT_WORKLETS)  # the recorder is the test's own script
    page.evaluate(RECORD)
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("[data-grip='E major 4-5-6']")
    page.click("[data-pair='6-5']")
    page.click("#sound")
    page.wait_for_function("window.recorded?.length > window.sampleRate")
    assert page.input_value("#outlet") == "page"
    assert rate(page, 6, 5) == "pure"

    rail = page.locator("tr[data-string='6'] .rail").bounding_box()
    x, y = rail["x"] + rail["width"] / 2, rail["y"] + rail["height"] / 2
    start = page.evaluate("recorded.length")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 45, y, steps=15)  # a tenth of a cent each
    page.mouse.up()
    page.wait_for_selector("tr[data-string='6'] .cents:has-text('−18.19')")
    shown = float(rate(page, 6, 5).removesuffix("/s"))
    hear_what_was_asked(page)
    sound, sample_rate = recorded(page, 5)
    dragged = np.array(page.evaluate(f"recorded.slice({start}, {start} + sampleRate)"))

    assert shown == pytest.approx(3.2, abs=0.05)
    assert beat_of(sound, sample_rate, 1236.0) == pytest.approx(shown, abs=0.03)
    assert splash_db(dragged, sample_rate, 4000.0) < -75

    page.click("[data-pure='5']")
    page.wait_for_selector("[data-pair='6-5'] .rate:has-text('pure')")


def test_what_sounds_is_kept_as_a_file(opened, tmp_path):
    page = opened()
    page.click("[data-grip='E major 4-5-6']")
    page.click("[data-pair='5-4']")
    page.wait_for_selector("[data-pair='5-4'][aria-pressed=true]")
    page.click("#file summary")
    page.fill("#file-seconds", "6")
    with page.expect_download() as loading:
        page.click("#file-write")
    page.wait_for_selector("#file output:has-text('written')")
    assert loading.value.suggested_filename == "tonegen.flac"
    loading.value.save_as(tmp_path / "kept.flac")
    sound, sample_rate = soundfile.read(tmp_path / "kept.flac")
    shown = abs(expected((4, 5, 6), [])[5, 4])
    assert beat_of(sound[sample_rate // 2 :, 0], sample_rate, 987.8) == pytest.approx(shown, abs=0.03)

    for number in (4, 5, 6):
        page.click(f"tr[data-string='{number}'] .pick")
    page.wait_for_selector("[data-in=true]", state="detached")
    page.click("#file-write")
    page.wait_for_selector("#fault:has-text('nothing would sound')")


FRAME_NOW = """async () => {
  const { frameAt } = await import("/sound/clock.js");
  const now = performance.now();
  return [performance.timeOrigin + now, frameAt(now)];
}"""


def test_the_strands_meet_when_the_browser_is_loud(opened):
    """The phase that the page draws at a moment, against the sound that leaves at that moment.

    Another page, which only looks on, shows the frame of the same moment: their clocks are one machine's.
    """
    page = opened(bypass_csp=True)
    page.evaluate(RECORD)
    page.evaluate("""addEventListener("loudspeaker", async ({ detail: { context } }) => {
      const clock = await import("/sound/clock.js");
      window.drawn = [];
      setInterval(() => {
        const stamp = context.getOutputTimestamp();
        const [silent] = window.peaks?.findLast(([, peak]) => peak === 0) ?? [0];
        if (stamp.contextTime - silent < 0.5) return; // after a gap on a busy machine the strands catch up
        drawn.push([stamp.contextTime, clock.turnsAt(6, 5, stamp.performanceTime)]);
      }, 50);
    })""")
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("[data-grip='E major 4-5-6']")
    page.click("tr[data-string='6'] .note")
    page.fill("#offset", "-15.1")
    page.click("[data-pair='6-5']")
    page.click("#sound")
    page.wait_for_function("window.drawn?.length > 120", timeout=60_000)
    looks_on = opened(820, 1180, bypass_csp=True)
    looks_on.wait_for_function("performance.now() > 2000")  # it has asked the time some times
    early_ms = []
    for _ in range(15):
        (at, frame), (later, other) = page.evaluate(FRAME_NOW), looks_on.evaluate(FRAME_NOW)
        early_ms.append((other - frame) / page.evaluate("sampleRate") * 1000 - (later - at))
        page.wait_for_timeout(50)
    assert np.median(early_ms) == pytest.approx(0.0, abs=10)
    blocks = np.array(page.evaluate("peaks.slice(0, peaks.length & ~7)")).reshape(-1, 8, 2)
    times, envelope = blocks[:, 0, 0], blocks[:, :, 1].max(axis=1)
    drawn = np.array(page.evaluate("drawn.slice(60)"), dtype=float)  # the sound has faded in
    drawn = drawn[drawn[:, 0] < times[-1] - 0.1]
    loud = np.interp(drawn[:, 0], times + 4 * 128 / 48000, envelope)
    angle = 2 * np.pi * drawn[:, 1]
    # of two partials the square of the envelope is a constant and a cosine of the beat's phase
    waves = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    _, cosine, sine = np.linalg.lstsq(waves, loud**2, rcond=None)[0]

    assert abs(np.arctan2(sine, cosine)) / (2 * np.pi) < 0.02  # turns between picture and sound
    assert np.corrcoef(loud**2, np.cos(angle))[0, 1] > 0.97


def test_two_pages_agree_and_a_reload_finds_the_same(opened):
    one, other = opened(), opened(820, 1180)
    one.click("[data-grip='A major A+B 3-4-5']")
    other.wait_for_selector("#state:has-text('A+B')")
    other.click("tr[data-string='4'] .pick")
    one.wait_for_selector("tr[data-string='4'][data-in=false]")
    shown = one.locator("#pairs").text_content()
    assert other.locator("#pairs").text_content() == shown
    one.reload()
    one.wait_for_selector("[data-ready=yes]")
    assert one.locator("#pairs").text_content() == shown


def test_the_program_restarts_under_an_open_page(opened, running):
    page = opened()
    page.click("[data-grip='A major A+B 3-4-5']")
    page.wait_for_selector("#state:has-text('A+B')")
    running.end()
    page.wait_for_selector("#fault:has-text('Lost the laptop')")
    with running:
        page.wait_for_selector("[data-ready=yes]", timeout=20_000)
        assert page.locator("#state").inner_text().startswith("A+B")
        assert page.locator("#fault").is_hidden()


def test_by_keyboard_alone(opened):
    """Tab to a string, space to sound it; letters engage; arrows move the offset; Escape mutes."""
    page = opened()
    page.keyboard.press("a")
    page.keyboard.press("b")
    page.wait_for_selector("#state:has-text('A+B')")

    tab_to(page, "[data-string='5'] .pick")
    before = page.locator("[data-string='5'] .pick").get_attribute("aria-pressed")
    page.keyboard.press("Space")
    page.wait_for_selector(f"[data-string='5'] .pick:not([aria-pressed={before}])")
    tab_to(page, "[data-string='5'] .note")
    page.keyboard.press("Enter")
    tab_to(page, "#offset")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#offset-typed")).to_have_value("−0.1")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#offset-typed")).to_have_value("−0.2")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+z")
    expect(page.locator("#offset-typed")).to_have_value("+0.0")
    page.keyboard.press("Control+Shift+z")
    expect(page.locator("#offset-typed")).to_have_value("−0.1")
    page.focus("#sound")
    page.keyboard.press("Enter")
    page.wait_for_selector("#sound[aria-pressed=true]")
    page.keyboard.press("Escape")
    page.wait_for_selector("#mute[aria-pressed=true]")


PARTS = ["play", "drop", "temper", "order", "keys", "evening"]


@pytest.mark.parametrize(("width", "theme"), [(1440, "dark"), (360, "light")])
def test_anyone_can_use_it(opened, width, theme):
    """Every part of the page."""
    page = opened(width, 900, theme)
    page.click("[data-grip='A major A+B 3-4-5']")
    page.evaluate("document.getElementById('rig-box').open = true")
    for part in PARTS:
        page.click(f"nav [data-part={part}]")
        if part == "play":
            page.click("#file summary")
        if part == "drop":
            page.click("#readings details:has(#read-lines) > summary")
            page.fill("#read-lines", READINGS)
            page.click("#read-many")
            page.wait_for_selector(".doubt", state="attached")
            page.select_option("#read-unit", "beats")
        if part == "temper":
            page.select_option("#scene", "e9-dance-band")
            page.click("#run")
            page.wait_for_selector("#take")
            page.click("#compare-begin")
            page.wait_for_selector("#compare table")
            page.click("#compare summary")
        if part == "order":
            page.click("#make-plan")
            page.wait_for_selector(".step")
        if part == "keys":
            page.wait_for_selector("#send")
        assert (part, broken_rules(page)) == (part, [])


def fastest_heard(intervals):
    """The fastest beat of those that partials up to the sixteenth make."""
    heard = [i for i in intervals if max(map(int, i["ratio"].split(":"))) <= 16]
    return max((i["after"]["beats_per_second"] for i in heard), key=abs)


def test_a_scene_is_solved_kept_and_taken_back(opened, tonegen):
    printed = tonegen("tonegen temper e9-dance-band --json").json
    worst = {grip["name"]: fastest_heard(grip["intervals"]) for grip in printed["grips"]}
    page = opened()
    page.select_option("[aria-label='Cabinet drop']", "demo-soft-cabinet", force=True)
    page.click("nav [data-part=temper]")
    page.select_option("#scene", "e9-dance-band")
    page.wait_for_selector("[data-wanted='B major E 4-5-7'][aria-pressed=true]")
    page.click("#run")
    page.wait_for_selector("#take")
    rows = page.locator(".ring summary")
    assert rows.count() == len(worst)
    for row, beats in zip(rows.all(), worst.values(), strict=True):
        shown = row.locator(".will").inner_text()
        assert shown.startswith(f"{abs(beats):.0f}/s" if abs(beats) > 15 else f"{abs(beats):.2f}/s")
    page.click("#take")
    page.wait_for_selector(".stop.moved >> nth=12")
    page.keyboard.press("Control+z")
    page.wait_for_selector(".stop.moved", state="detached")

    cell = page.locator("tr[data-string='5'] .stop.has .bead").first
    cell.click()
    page.wait_for_selector("tr[data-string='5'] .stop.pinned")
    assert cell.get_attribute("aria-pressed") == "true"


def test_the_order_is_gone_through_by_keys_with_its_sound(opened):
    page = opened()
    page.click("nav [data-part=order]")
    page.click("#make-plan")
    page.wait_for_selector(".count-of:has-text('Step 1 of')")
    page.click("#step-hear")
    page.wait_for_selector("#step-hear[aria-pressed=true]")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".count-of:has-text('Step 2 of')")
    clock = 'import("/sound/clock.js")'
    turns = f'{clock}.then(clock => clock.turnsAt("step-low", "step-high", performance.now()))'
    while page.evaluate(turns) is None:
        page.wait_for_timeout(20)
    page.click("#step-against")
    page.wait_for_selector("#step-against[aria-pressed=true]")
    page.click("#step-only")
    page.wait_for_selector("#step-only[aria-pressed=true]")
    assert page.get_attribute("#step-against", "aria-pressed") == "false"
    page.click("#step-only")
    page.wait_for_selector("#step-only[aria-pressed=false]")
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.to-tune')).fontSize)") > 40
    page.click("#sound")
    page.wait_for_selector("#step-hear[aria-pressed=false]")


def test_print_keeps_the_chart(opened):
    page = opened(1180, 820)
    page.emulate_media(media="print")
    assert page.locator(".copedent").is_visible()
    assert not page.locator(".sound").is_visible()
    assert page.locator("tr[data-string='5'] .stop.has .hz").first.is_visible()


def test_every_part_fits_a_phone(opened):
    page = opened(360, 780)
    for part in PARTS:
        page.click(f"nav [data-part={part}]")
        if part == "drop":
            page.click("#readings details:has(#read-lines) > summary")
            page.fill("#read-lines", READINGS)
            page.click("#read-many")
            page.wait_for_selector(".doubt", state="attached")
        if part == "keys":
            page.wait_for_selector("#send")
        assert (part, page.evaluate("document.documentElement.scrollWidth")) == (part, 360)


@pytest.mark.parametrize("width", [1330, 1440])
def test_the_head_fits_a_laptop_in_every_part(opened, width):
    """Also once the caution is an icon there; with what is engaged beside it."""
    page = opened(width, 900)
    page.click("#caution button")
    page.click("#board [data-change=A]")
    page.click("#board [data-change=B]")
    for part in page.locator("nav [data-part]").all():
        part.click()
        assert (
            page.evaluate("""() => [...document.querySelectorAll("nav, .top")]
          .filter((one) => one.scrollWidth > one.clientWidth).map((one) => one.className || one.id)""")
            == []
        )


def test_pictures_for_the_readme(opened):
    PICTURES.mkdir(exist_ok=True)
    page = opened(1440, 900)
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.select_option("[aria-label='Cabinet drop']", "demo-soft-cabinet", force=True)
    page.click("[data-grip='A major A+B 3-4-5']")
    page.click(".caution button")
    page.wait_for_selector("[data-pair='4-3']")
    page.wait_for_selector("#told[data-shown=false]", state="attached")
    page.screenshot(path=PICTURES / "page-wide.png")
    page.click("nav [data-part=drop]")
    page.click("#readings details:has(#read-lines) > summary")
    page.fill("#read-lines", READINGS)
    page.click("#read-many")
    page.click("#readings details:has(#read-lines) > summary")
    page.wait_for_selector(".sag")
    page.click("tr[data-string='8'] .note")
    page.screenshot(path=PICTURES / "page-drop.png")
    page.click("nav [data-part=temper]")
    page.select_option("#scene", "e9-dance-band")
    page.wait_for_selector("[data-wanted='B major E 4-5-7'][aria-pressed=true]")
    page.click("#run")
    page.wait_for_selector("#take")
    page.screenshot(path=PICTURES / "page-temper.png")
    page.click("nav [data-part=order]")
    page.click("#make-plan")
    page.wait_for_selector(".step")
    page.click("#step-next")
    page.wait_for_selector(".count-of:has-text('Step 2 of')")
    page.screenshot(path=PICTURES / "page-order.png")
    phone = opened(390, 844)
    phone.click(".caution button")
    phone.screenshot(path=PICTURES / "page-phone.png")
    assert {file.name for file in PICTURES.glob("page-*.png")} >= {
        "page-wide.png", "page-drop.png", "page-temper.png", "page-order.png", "page-phone.png",
    }  # fmt: skip
