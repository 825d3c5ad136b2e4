"""Strings that are played fill the field of the page's readings, and nothing that sounds waits for it."""

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.listen.strings import RATE, plucked
from tests.page.running import RunningPage
from tests.real.steel import Steel
from tests.real.test_hearing import string
from tests.real.test_page_meter import readings
from tonegen.instrument import TuningPoint
from tonegen.order.plan import tuning_order
from tonegen.page import shelf
from tonegen.page.keeping import KeptFile
from tonegen.page.setting import Setting
from tonegen.setup.rig import rig_for


def number(text):
    return float(text.replace("−", "-"))


@pytest.fixture
def steel(sound_server):
    with Steel(sound_server) as steel:
        yield steel


def test_an_input_is_chosen_and_a_played_string_fills_the_field_and_the_player_takes_it(
    sound_server, chromium, tmp_path
):
    with (
        Steel(sound_server, noise=0) as steel,
        RunningPage(tmp_path / "own", environment=sound_server.environment) as running,
    ):
        page = chromium.new_page()
        page.goto(running.link)
        page.wait_for_selector("[data-ready=yes]")
        page.click("nav [data-part=drop]")
        page.click("#readings .ear-input summary")
        page.select_option("#drop-input", steel.name, timeout=20_000)
        page.click("#drop-listen")
        heard = page.locator("#drop-heard")
        expect(heard).to_contain_text("Pick one string")
        page.click("#readings .ear-input summary")
        expect(heard).to_have_text("nothing heard; is the right input chosen?")
        expect(page.locator("#drop-input")).to_be_visible()
        steel.pick(string(8, -4.0))
        expect(heard).to_contain_text("Heard string 8")
        assert number(page.input_value("#read-value")) == pytest.approx(-4.0, abs=0.15)
        readings(page, 0)
        page.click("#readings button[type=submit].primary")
        readings(page, 1)

        page.click("#readings .learn > summary")
        page.click("#learn-listen")
        learned = page.locator("#readings .learn li", has_text="8, E3")
        expect(learned).to_contain_text("not learned")
        for at_the_end in (": picked 1 time", "heard twice, alike within"):
            steel.pick(string(8, -4.0))
            expect(learned).to_contain_text(at_the_end)
            steel.rang_out()
        page.click("#keep-learned")
        expect(learned).to_contain_text("learned on")
        page.click("nav [data-part=play]")
        expect(page.locator("#drop-listen")).to_have_attribute("aria-pressed", "false")
        running.end()
        assert KeptFile(tmp_path / "own" / "tonegen" / "page.json").kept.input == steel.name


def pair_of_step(step, off_hz=0.0, seconds=3.5):
    """Both strings of a step at their targets, or one partial off_hz off."""
    tones = [step.low_hz, step.high_hz]
    number = step.partials[1 if step.tune_is_high else 0]
    tones[step.tune_is_high] *= 1 + off_hz / (number * tones[step.tune_is_high])
    stiffness = step.low_stiffness, step.high_stiffness
    sounds = [
        plucked(seed, hz, b, noise_db=70, seconds=seconds, lasts_seconds=9)[0]
        for seed, (hz, b) in enumerate(zip(tones, stiffness, strict=True))
    ]
    return np.concatenate([sum(sounds), np.zeros(RATE // 2)])


def test_the_page_listens_while_a_step_is_tuned_and_goes_on_and_counts_a_pair(
    sound_server, steel, chromium, tmp_path
):
    rig = rig_for(Setting(), shelf)[0]
    plan = tuning_order(rig.instrument, rig.temperament, rig.drop, rig.reference_hz)
    at = next(
        at for at, step in enumerate(plan.steps) if isinstance(step.against, TuningPoint) and step.fret == 0
    )
    with RunningPage(tmp_path / "own", environment=sound_server.environment) as running:
        with running.page() as beside:
            beside.ask("input", name=steel.name)
            beside.shown("inputs", lambda inputs: inputs["chosen"] == steel.name)
        page = chromium.new_page()
        page.goto(running.link + "#order")
        page.wait_for_selector("[data-ready=yes]")
        page.click("#make-plan")
        page.wait_for_selector(".step")
        for _ in range(at):
            page.click("#step-next")
        expect(page.locator("#order .count-of")).to_contain_text(f"Step {at + 1} ")
        page.click("#order-listen")
        heard = page.locator("#order-heard")
        expect(heard).to_contain_text("together, and let them ring")
        steel.pick(pair_of_step(plan.steps[at], off_hz=2.0, seconds=1.6))
        expect(heard).to_contain_text("should be")
        expect(heard).to_contain_text("ure, give or take")
        steel.rang_out()
        steel.pick(pair_of_step(plan.steps[at]))
        expect(page.locator("#order .count-of")).to_contain_text(f"Step {at + 2} ")
        expect(heard).to_contain_text(f"On to step {at + 2}.")
        steel.rang_out()

        page.click("nav [data-part=play]")
        with running.page() as beside:
            beside.ask("strings", strings=[5, 8])
            beside.shown("view", lambda view: len(view["pairs"]) == 1)
        page.click("#count-listen")
        expect(page.locator("#count-heard")).to_contain_text("Pick strings 8 and 5")
        steel.pick(string(8, 0.0, seconds=2.0) + string(5, 9.0, seed=1, seconds=2.0))
        expect(page.locator("#count-heard")).to_contain_text("Beats")
        hz = 440 * 2 ** (-17 / 12), 440 * 2 ** ((-10 + 0.09) / 12)
        page.click("#count-done")
        said = page.locator("output.counted")
        expect(said).to_contain_text("beats a second, ")
        rate = float(said.inner_text().split()[0])
        assert rate == pytest.approx(2 * hz[1] - 3 * hz[0], abs=0.3)  # and what stiffness adds
        expect(said).to_contain_text(": wide, +")


def test_an_input_that_is_not_there_is_said(tmp_path):
    with RunningPage(tmp_path / "own") as running, running.page() as page:
        page.ask("input", name="nosuch")
        page.ask("listen", what="drop")
        fault = page.shown("fault")
        assert "sound" in fault["text"]
        assert not page.shown("hearing")["what"]


def test_the_tone_that_the_page_plays_is_not_heard_as_a_string(sound_server, steel, tmp_path):
    """The room gives the page's tones back beside string 8; they are known, and taken out."""
    options = ("--device", "system")
    with (
        RunningPage(tmp_path / "own", *options, environment=sound_server.environment) as running,
        running.page() as page,
    ):
        page.ask("strings", strings=[4])
        page.ask("input", name=steel.name)
        page.ask("listen", what="drop")
        page.shown("hearing", lambda heard: heard["what"] == "drop")
        seconds = np.arange(48000 * 4) / 48000
        hz = 440 * 2 ** (-5 / 12)
        room = sum(0.02 / k * np.sin(2 * np.pi * k * hz * seconds) for k in range(1, 9))
        picked = string(8, 2.0)
        room[2 * 48000 :][: len(picked)] += picked[: 2 * 48000]
        page.ask("sound", on=True)
        steel.pick(room * np.minimum(1, seconds / 0.05))
        heard = page.shown("hearing", lambda heard: heard["strings"])
        assert heard["strings"] == [8]
        assert number(heard["cents"]) == pytest.approx(2.0, abs=0.3)
