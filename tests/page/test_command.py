"""What `tonegen page` prints: the link, for a tablet as a code as well, and the caution."""

import re

from tonegen.cli.page import _ready
from tonegen.page.server import for_tablets, link_to
from tonegen.synthesis.player import HEARING_CAUTION


def test_the_link_is_printed_and_for_a_tablet_drawn(capsys):
    link = "http://192.0.2.7:8427/?token=a-token"
    _ready(link, with_code=True, browser=False)()
    printed = capsys.readouterr()
    assert printed.out.startswith(f"The page is at {link}\n")
    rows = [line for line in printed.out.splitlines() if re.fullmatch(r"[ ▀▄█]{20,}", line)]
    assert len(rows) >= 15  # two modules of the code a row
    assert HEARING_CAUTION in printed.err


def test_the_page_shows_the_same_link_and_a_whole_code():
    """ISO/IEC 18004: three corners have squares of 7 by 7 within squares, the fourth has none."""
    shown = for_tablets(link_to("192.0.2.7", 8427, "a-token"))
    square = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    size = len(shown.code)

    def corner(top, left):
        return [row[left : left + 7] for row in shown.code[top : top + 7]]

    assert shown.link == "http://192.0.2.7:8427/?token=a-token"
    assert {len(row) for row in shown.code} == {size}
    assert (size - 17) % 4 == 0
    assert [corner(top, left) == square for top in (0, size - 7) for left in (0, size - 7)] == [
        True, True, True, False
    ]  # fmt: skip


def test_on_this_machine_a_link_is_enough(capsys):
    _ready("http://127.0.0.1:8427/", with_code=False, browser=False)()
    assert "█" not in capsys.readouterr().out


def test_a_port_that_cannot_be_is_refused(tonegen):
    assert "--port" in tonegen.refused("tonegen page --no-browser --port 0")
