"""OSC from the keys part of the page, in Chromium: the packets at a UDP socket, byte by byte.

The bytes are put together here from the sentences of the OSC 1.0 specification, not by the program.
"""

import socket
import struct
from math import log2

import pytest

from tests.page.keyboard import pick, press, tab_to

# Five-limit just on E as cents from equal temperament; the ratios are the definition (common practice).
NOTES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
JUST_ON_E = {"E": (1, 0), "G#": (5 / 4, 4), "A": (4 / 3, 5), "B": (3 / 2, 7), "C#": (5 / 3, 9)}


def osc_string(text):
    """Text, a null, and "0-3 additional null characters", so that the bits are a multiple of 32."""
    data = text.encode("ascii") + b"\0"
    return data + b"\0" * (-len(data) % 4)


def osc_message(address, pitch_class, cents):
    """An address pattern, a type tag string, and big-endian arguments: an int32 and a float32."""
    return osc_string(address) + osc_string(",if") + struct.pack(">i", pitch_class) + struct.pack(">f", cents)


@pytest.fixture
def receiver():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listening:
        listening.bind(("127.0.0.1", 0))
        listening.settimeout(20)
        yield listening


def packets(receiver, count=12):
    """The next packets, by the pitch class that they are of."""
    found = [receiver.recv(65_536) for _ in range(count)]
    return {struct.unpack(">i", packet[-8:-4])[0]: packet for packet in found}


def free_udp_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def cents_of(packet):
    return struct.unpack(">f", packet[-4:])[0]


def test_a_tuning_goes_out_follows_the_player_and_is_put_back(opened, receiver):
    """By the keyboard alone."""
    page = opened()
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    press(page, "nav [data-part=keys]")
    pick(page, "#receiver", "osc-per-class")
    page.wait_for_selector("#osc")
    tab_to(page, "#osc")
    page.keyboard.press("Control+a")
    page.keyboard.type(f"127.0.0.1:{receiver.getsockname()[1]}")
    press(page, "#send")
    page.wait_for_selector(".status[data-status=sent]")
    assert page.evaluate("document.activeElement.id") == "put-back"  # the focus is not lost with the button
    found = packets(receiver)
    assert sorted(found) == list(range(12))
    for pitch_class, packet in found.items():
        assert packet == osc_message("/tune/class", pitch_class, cents_of(packet))
        assert len(packet) == 24
    for name, (ratio, semitones) in JUST_ON_E.items():
        wanted = 1200 * log2(ratio) - 100 * semitones
        assert cents_of(found[NOTES.index(name)]) == pytest.approx(wanted, abs=0.001)
    page.wait_for_selector(".offsets caption:has-text('Offset of each pitch class')")
    name, _, sent, _ = page.locator(".offsets tbody tr").nth(8).locator("th, td").all_inner_texts()
    assert (name, float(sent.replace("−", "-"))) == ("G#", pytest.approx(cents_of(found[8]), abs=0.0006))

    page.select_option("[aria-label='My targets']", "equal", force=True)
    tempered = {pitch_class for pitch_class, packet in found.items() if cents_of(packet)}
    again = packets(receiver, len(tempered))
    assert set(again) == tempered, "what stays where it is is not sent again"
    assert all(packet == osc_message("/tune/class", each, 0.0) for each, packet in again.items())

    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    assert packets(receiver, len(tempered)) == {each: found[each] for each in tempered}
    page.keyboard.press("Enter")  # the focus waits on "Put back"
    page.wait_for_selector(".status:has-text('put back')")
    back = packets(receiver)
    assert all(packet == osc_message("/tune/class", each, 0.0) for each, packet in back.items())


def test_what_is_no_address_is_said_in_one_line(opened):
    page = opened()
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "osc-per-key")
    for address in ("127.0.0.1", "127.0.0.1:", "127.0.0.1:70000", ":x", "no such host:9000"):
        page.fill("#osc", address)
        page.click("#send")
        page.wait_for_selector("#fault")
        said = page.locator("#fault p:has-text('address'), #fault p:has-text('cannot be sent')").inner_text()
        assert address.partition(":")[0] in said
        assert "\n" not in said
        assert page.locator(".status[data-status]").get_attribute("data-status") == ""
        page.click("#fault button")


def test_a_foot_controller_moves_the_chart_while_it_is_let_in(opened, receiver):
    """By the keyboard alone; the answer goes to where the packet came from."""
    page = opened()
    press(page, "nav [data-part=keys]")
    tab_to(page, "#remote-port")
    page.keyboard.press("Control+a")
    page.keyboard.type(str(port := free_udp_port()))
    press(page, "#osc-in")
    page.wait_for_selector(f".further .hint:has-text('127.0.0.1:{port}')")
    assert page.get_attribute("#osc-in", "aria-pressed") == "true"
    fret = osc_string("/tonegen/fret") + osc_string(",i") + struct.pack(">i", 5)
    receiver.sendto(fret, ("127.0.0.1", port))
    assert receiver.recv(65_536).startswith(osc_string("/tonegen/state") + osc_string(",s"))
    page.wait_for_selector("#state:has-text('fret 5')")
    page.reload()
    page.wait_for_selector("#osc-in[aria-pressed=true]")
    press(page, "#osc-in")
    page.wait_for_selector("#osc-in[aria-pressed=false]")
    assert page.is_enabled("#remote-port")
