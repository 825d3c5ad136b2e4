"""A MIDI file retuned from the keys part of the page, in Chromium: chosen, kept, and read by others."""

import io
from math import log2

import mido
import pytest

from tests.page.looking import broken_rules
from tests.page.song import cents_played, song


def test_a_song_comes_back_in_tune_with_the_steel(opened, running, tonegen, tmp_path):
    source = tmp_path / "Invented Waltz.MID"
    source.write_bytes(song())
    page = opened()
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "mpe")
    with running.page() as visitor:
        visitor.shown("keys", lambda keys: keys["receiver"] == "mpe")
    page.set_input_files("#song", source)
    with page.expect_download() as keeping:
        page.click("#retune")
    kept = keeping.value
    assert kept.suggested_filename == "Invented Waltz-retuned.mid"
    data = kept.path().read_bytes()

    out = tmp_path / "out.mid"
    words = f"--instrument e9-ten-string --temperament five-limit-just --receiver mpe {out}"
    said = tonegen(f"tonegen keys file {source.rename(tmp_path / 'in.mid')} {words}")
    assert data == out.read_bytes()
    told = page.locator("#songs [role=status], #songs li").all_inner_texts()
    assert told == (said.out.replace(str(out), kept.suggested_filename) + said.err).splitlines()

    assert broken_rules(page) == []

    lyrics = [message.text for message in mido.MidiFile(file=io.BytesIO(data)) if message.type == "lyrics"]
    assert lyrics == ["la"] * 3
    found = cents_played(data, 3)
    assert found[68] - found[64] == pytest.approx(1200 * log2(5 / 4) - 400, abs=0.04)  # E to G#, pure


def test_what_is_no_song_is_said_in_one_line(opened, tmp_path):
    page = opened()
    page.click("nav [data-part=keys]")
    for name, content in (("notes.mid", b"no song at all"), ("cut.mid", song()[:-20])):
        (tmp_path / name).write_bytes(content)
        page.set_input_files("#song", tmp_path / name)
        page.click("#retune")
        page.wait_for_selector(f"#fault p:has-text('{name}: ')")
        assert "\n" not in page.locator("#fault p").inner_text()
    page.wait_for_selector("#retune:focus:enabled")
