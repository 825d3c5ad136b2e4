"""Trials by touch in Debian's Chromium; what was answered is found in the history that the terminal uses."""

import csv
import io
import signal

import numpy as np
import pytest

from tests.ear.test_partner import wav_file
from tests.measure import beat_of, splash_db
from tests.page.looking import broken_rules
from tests.real.loudspeaker import RECORD, hear_what_was_asked, recorded
from tests.real.test_page_browser import PICTURES
from tonegen.ear.history import History
from tonegen.ear.trials import chord_name

PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}


@pytest.fixture
def kept(tmp_path):
    def rows(person="Ada"):
        (path,) = (tmp_path / "own").rglob("ear.sqlite")
        with History(path) as history:
            return history.rows(person)

    return rows


@pytest.fixture(autouse=True)
def _volume_is_set(running):
    with running.page() as page:
        page.ask("steady", on=False, comfortable=True)
        page.shown("volume", lambda shown: shown["is_set"])


def begin(page, kind, trials=2, touch=None, **fields):
    """Go to the ears, choose and begin, by mouse or by touch."""
    press = touch or page.click
    if page.evaluate("document.documentElement.dataset.part") != "ears":
        press("nav [data-part=ears]")
    page.wait_for_selector("#ear-begin")
    press(f"[data-kind={kind}]")
    page.fill("#ear-person", "Ada")
    page.fill("#ear-trials", str(trials))
    for name, value in fields.items():
        page.fill(f"#ear-{name}", value)
    press("#ear-begin")
    at(page, 1, trials)


def at(page, number, trials):
    page.wait_for_selector(f".count-of:has-text('{number} of {trials}')")


def go_on(page):
    page.click("#ear-on")


def finished(page):
    """On from the last answer, which is heard again first, to what the answers say."""
    go_on(page)
    page.wait_for_selector("#ear-says")


def answer_all(running, trials, choice):
    """The other trials of the session that is open, by a page without a browser; choice : of a number."""
    with running.page() as hand:
        for number in range(trials):
            hand.shown("ears", lambda shown, at=number: shown["asked"] and shown["asked"]["number"] == at)
            hand.ask("answer", number=number, choice=choice(number))


def test_every_kind_is_answered_by_touch_and_kept(opened, kept):
    page = opened(**PHONE)
    for kind in ("purer", "side", "name", "abx"):
        begin(page, kind, touch=page.tap)
        page.tap("[data-answer='1']")
        page.wait_for_selector("#ear-verdict:has-text('.'):focus")
        page.tap("#ear-after [data-hear] >> nth=0")
        page.wait_for_selector("#ear-after [data-hear][aria-pressed=true] >> nth=0")
        page.tap("#ear-on")
        at(page, 2, 2)
        page.tap("[data-hear='-1']")
        page.tap("[data-answer='0']")
        finished(page)
    begin(page, "rate", trials=1, touch=page.tap)
    assert page.locator("#ear-done").is_disabled()
    for _ in range(4):
        page.tap("#ear-pad")
    page.tap("#ear-done")
    finished(page)
    for kind in ("set", "match"):
        begin(page, kind, trials=1, touch=page.tap)
        slide = page.locator("#ear-slide").bounding_box()
        page.touchscreen.tap(slide["x"] + slide["width"] * 0.6, slide["y"] + slide["height"] / 2)
        page.tap("[data-step='0.2']")
        page.tap("#ear-done")
        finished(page)
    rows = kept()

    assert [(row.kind, row.answer) for row in rows[:8]] == [
        (kind, answer) for kind in ("purer", "side", "name", "abx") for answer in (1.0, 0.0)
    ]
    assert [row.kind for row in rows[8:]] == ["rate", "set", "match"]
    taps, set_pure, matched = rows[8:]
    assert 0.5 < taps.answer < 100
    start = set_pure.again().sounds[-1].error_cents
    assert set_pure.answer - start == pytest.approx(0.2 * 160 / 2 + 0.2, abs=2.0)
    own = matched.again().sounds[-1]
    assert matched.answer != pytest.approx(abs(own.rate))
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_session_stops_on_the_page_and_goes_on_even_after_kill_9(opened, running, kept):
    page = opened()
    begin(page, "purer", trials=3)
    page.click("[data-answer='0']")
    page.click("#ear-after-stop")
    page.wait_for_selector(".waiting:has-text('which is purer, 1 of 3 answered')")
    page.click("#ear-go-on")
    at(page, 2, 3)
    page.click("nav [data-part=play]")  # going away stops as well
    page.click("nav [data-part=ears]")
    page.wait_for_selector(".waiting:has-text('1 of 3 answered')")
    running.end(signal.SIGKILL)
    with running:
        page.wait_for_selector("[data-ready=yes]", timeout=20_000)
        page.fill("#ear-person", "Ada")
        page.press("#ear-person", "Tab")
        page.wait_for_selector(".waiting:has-text('1 of 3 answered')")
        page.click("#ear-go-on")
        page.click("#volume-comfortable")  # in a program that was started again the volume is set again
        at(page, 2, 3)
        page.click("[data-answer='1']")
        go_on(page)
        at(page, 3, 3)

    assert [row.number for row in kept()] == [0, 1]


def test_the_recorded_trial_is_the_one_that_was_kept(opened, kept):
    """By the browser's own loudspeaker; the beat of the recording is the one that was set."""
    page = opened(bypass_csp=True)
    page.evaluate(RECORD)
    page.click("nav [data-part=ears]")
    page.wait_for_selector("#ear-begin")
    page.click("[data-interval='3:2']")  # the major third alone
    begin(page, "set", trials=1, cents="1")  # a start so near that the beat can be measured
    page.wait_for_function("window.recorded?.length > window.sampleRate")
    slide = page.locator("#ear-slide").bounding_box()
    x, y = slide["x"] + slide["width"] / 2, slide["y"] + slide["height"] / 2
    start = page.evaluate("recorded.length")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y, steps=15)
    page.mouse.up()
    hear_what_was_asked(page)
    sound, sample_rate = recorded(page, 3)
    dragged = np.array(page.evaluate(f"recorded.slice({start}, {start} + sampleRate)"))
    page.click("#ear-done")
    finished(page)
    (row,) = kept()
    own = row.again().sounds[0].with_error(row.answer)

    assert own.error_cents != pytest.approx(row.again().sounds[0].error_cents)
    assert abs(beat_of(sound, sample_rate, 5 * own.tones_hz[0])) == pytest.approx(abs(own.rate), abs=0.1)
    assert splash_db(dragged, sample_rate, 6000.0) < -70
    page.wait_for_function("peaks.slice(-sampleRate / 512).every(([, peak]) => peak === 0)")  # 0.25 s


def open_trial(own):
    """The trial that the page asks now: it follows from what is kept."""
    (path,) = own.rglob("ear.sqlite")
    with History(path) as history:
        return history.session(history.to_go_on("Ada")).next_trial()


def test_what_the_answers_say_is_drawn(opened, running, kept, tmp_path):
    """A listener who hears 3 cents in a third and 9 in a fifth, and is wrong below: so the page says."""
    page = opened(1180, 820)
    page.click(".caution button")
    page.click("nav [data-part=ears]")
    page.uncheck("#ear-feedback")
    begin(page, "purer", trials=60)

    def choice(_):
        trial = open_trial(tmp_path / "own")
        hears = trial.level_cents > {"major third": 3, "fifth": 9}[chord_name(trial.chord)]
        return int(trial.right if hears else 1 - trial.right)

    answer_all(running, 60, choice)
    page.wait_for_selector("#ear-says")
    page.wait_for_selector(".graph >> nth=1")
    said = page.locator("#ear-results > div >> nth=0 >> li").all_inner_texts()
    titles = page.locator("figcaption").all_inner_texts()
    function = page.locator("figure >> nth=0")
    levels = {row.level_cents for row in kept() if row.interval == "fifth"}

    assert [line.split(" 30 trials")[0] for line in said] == ["major third", "fifth"]
    third, fifth = (float(line.split("hear a ")[1].split("-cent")[0]) for line in said)
    assert 1.5 < third < 6
    assert 5 < fifth < 15
    assert titles == [
        "This session: how often an error is heard",
        "Error heard four times out of five, in cents",
    ]
    assert [line.split()[0] for line in function.locator("li").all_inner_texts()] == ["major", "fifth"]
    assert function.locator(".graph .curve-1 rect").count() == len(levels)
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / "page-ears.png", full_page=True)


def test_by_keyboard_alone(opened, kept):
    """Digits answer, space taps, arrows move, Enter is done; letters engage no change meanwhile."""
    page = opened()
    begin(page, "purer", trials=1)
    page.keyboard.press("a")
    page.keyboard.press("r")
    page.keyboard.press("7")
    page.keyboard.press("2")
    page.wait_for_selector("#ear-verdict:focus")
    page.keyboard.press("1")
    page.wait_for_selector("#ear-after [data-hear='0'][aria-pressed=true]")
    page.keyboard.press("Space")
    page.wait_for_selector("#ear-says")
    begin(page, "rate", trials=1)
    for _ in range(4):
        page.keyboard.press("Space")
    page.keyboard.press("Enter")
    finished(page)
    begin(page, "set", trials=1)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    finished(page)
    purer, rate, set_pure = kept()

    assert purer.answer == 1.0
    assert rate.answer > 0.5
    assert set_pure.answer == pytest.approx(set_pure.again().sounds[0].error_cents + 1.8)
    assert page.locator("#state").inner_text().startswith("No pedals · open strings")
    assert page.get_attribute("#sound", "aria-pressed") == "false"


def test_method_and_earlier_session_are_chosen_answers_exported_and_deleted(opened, kept):
    page = opened()
    page.click("nav [data-part=ears]")
    page.wait_for_selector("#ear-begin")
    assert page.input_value("#ear-method") == "bayes"
    assert page.locator("#ear-cents").is_disabled()
    page.click("[data-kind=set]")
    assert (page.input_value("#ear-method"), page.locator("#ear-method").is_disabled()) == ("fixed", True)
    page.click("[data-kind=side]")
    page.select_option("#ear-method", "three-down")
    page.fill("#ear-cents", "12")
    page.fill("#ear-person", "Ada")
    page.fill("#ear-trials", "5")
    page.click("#ear-begin")
    at(page, 1, 5)
    page.click("[data-answer='1']")
    go_on(page)
    at(page, 2, 5)
    page.click("#ear-stop")
    assert [row.level_cents for row in kept()] == [12.0]
    begin(page, "purer", trials=3)
    page.click("#ear-stop")
    page.wait_for_selector("#ear-waiting")
    assert page.locator("#ear-waiting option").count() == 2
    page.select_option("#ear-waiting", label=page.locator("#ear-waiting option").nth(1).inner_text())
    page.click("#ear-go-on")
    at(page, 2, 5)
    page.click("#ear-stop")
    with page.expect_download() as downloaded:
        page.click("#ear-export")
    (row,) = csv.DictReader(io.StringIO(downloaded.value.path().read_text()))
    assert (downloaded.value.suggested_filename, row["kind"]) == ("answers.csv", "side")
    page.click("#ear-delete")
    page.click("#ear-delete-no")
    page.click("#ear-delete")
    assert len(kept()) == 1
    page.click("#ear-delete-yes")
    page.wait_for_selector("#ear-notice:has-text('1 answer from Ada deleted'):focus")
    assert not page.locator("#ear-kept").is_visible()
    assert not page.locator("#ear-go-on").is_visible()
    assert kept() == ()


def looked_at(page, where):
    assert (where, broken_rules(page)) == (where, [])


@pytest.mark.parametrize(("width", "theme"), [(1440, "dark"), (360, "light")])
def test_anyone_can_train(opened, running, width, theme):
    """The choice, each form of a trial, and the picture."""
    page = opened(width, 900, theme)
    page.click(".caution button")

    page.click("nav [data-part=ears]")
    page.wait_for_selector("#ear-begin")
    looked_at(page, "choosing")
    for kind in ("rate", "match"):
        begin(page, kind)
        looked_at(page, kind)
        page.click("#ear-stop")
    begin(page, "abx", trials=6)
    looked_at(page, "abx")
    page.click("[data-answer='0']")
    page.wait_for_selector("#ear-verdict:has-text('.')")
    looked_at(page, "after an answer")
    page.click("#ear-after-stop")
    page.uncheck("#ear-feedback")
    page.click("[data-interval='3:2']")  # the major third alone: fifteen answers are enough for a graph
    begin(page, "purer", trials=15)
    answer_all(running, 15, lambda _: 0)
    page.wait_for_selector(".graph")
    page.click("#ear-delete")
    looked_at(page, "the picture")


def test_the_first_session_waits_until_the_volume_is_set(opened, running, kept):
    """By touch, in a program in which nobody has moved the level; "not now" begins nothing."""
    running.end()
    with running:
        page = opened(**PHONE)
        page.tap("nav [data-part=ears]")
        page.fill("#ear-person", "Ada")
        page.tap("#ear-begin")
        page.wait_for_selector("#volume-title:focus")
        sounds = ".meter:not([aria-valuenow='-60'])"
        page.wait_for_selector(sounds, state="attached")  # the steady tone
        assert broken_rules(page) == []
        looked_at(page, "the steady tone")
        page.tap("#volume-not-now")
        page.wait_for_selector("#volume", state="hidden")
        page.wait_for_selector(".meter[aria-valuenow='-60']", state="attached")
        page.tap("[data-lesson=in-the-band]")
        page.tap("[data-demonstrate='0']")
        page.tap("#volume-comfortable")
        page.wait_for_selector("[data-demonstrate='0'][aria-pressed=true]")
        page.tap("#lesson-leave")
        page.tap("#ear-begin")  # once is enough
        page.wait_for_selector("#ear-question")


def test_no_feedback_says_nothing(opened):
    page = opened()
    page.click("nav [data-part=ears]")
    page.wait_for_selector("#ear-begin")
    page.uncheck("#ear-feedback")
    begin(page, "side", trials=2)
    page.click("[data-answer='1']")
    at(page, 2, 2)
    assert not page.locator("#ear-after").is_visible()


def test_a_partners_recording_is_matched_by_touch(opened, tmp_path):
    path = tmp_path / "partner.wav"
    path.write_bytes(wav_file())
    page = opened(**PHONE)
    page.tap("nav [data-part=ears]")
    page.fill("#ear-person", "Ada")
    page.set_input_files("#partner", path)
    page.tap("#partner-match")
    at(page, 1, 5)
    page.wait_for_selector(".meter:not([aria-valuenow='-60'])", state="attached")
    assert broken_rules(page) == []
    page.tap("[data-step='-2']")
    page.tap("#ear-done")
    page.wait_for_selector("#ear-verdict:has-text('cents from it'):focus")
    assert broken_rules(page) == []
    page.tap("#ear-on")
    at(page, 2, 5)
    page.tap("#ear-stop")
    page.wait_for_selector("#partner-match")


def test_a_lesson_by_touch(opened):
    page = opened(**PHONE)
    page.tap("nav [data-part=ears]")
    page.tap("[data-lesson=in-the-band]")
    page.wait_for_selector("#lesson-title:has-text('Cabinet drop')")
    page.tap("[data-demonstrate='0']")
    page.wait_for_selector("[data-demonstrate='0'][aria-pressed=true]")
    page.wait_for_selector(".meter:not([aria-valuenow='-60'])", state="attached")
    assert page.locator("#lessons .ladder").count() == 0
    page.tap("[data-reply='1']")
    page.wait_for_selector("#lesson-verdict[data-right=false]:has-text('No:')")
    assert page.locator("#lessons .ladder").count() == 3
    assert broken_rules(page) == []
    page.tap("#lesson-next")
    page.wait_for_selector(".count-of:has-text('2 of 4')")
    page.tap("#lesson-leave")
    page.tap("[data-lesson=hearing-beats]")
    page.tap("#lesson-next")
    page.wait_for_selector(".count-of:has-text('2 of 8')")
    for _ in range(3):
        page.tap("#lesson-pad")
    page.tap("#lesson-done")
    page.wait_for_selector("#lesson-verdict:has-text('you tapped'):focus")
    for number in range(3, 8):
        page.tap("#lesson-next")
        page.wait_for_selector(f".count-of:has-text('{number} of 8')")
    page.tap("[data-step='-2']")
    page.wait_for_selector("[data-demonstrate='0'][aria-pressed=true]")
    assert broken_rules(page) == []
    page.tap("#lesson-done")
    page.wait_for_selector("#lesson-verdict:has-text('+10.0 cents from it')")
    page.tap("#lesson-leave")
    page.wait_for_selector("#ear-begin:visible")
