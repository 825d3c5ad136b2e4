"""The page's colours, read from its own style sheet: contrast, and how far apart in lightness."""

import re
from itertools import product
from pathlib import Path

import numpy as np
import pytest

import tonegen.page

STYLE = (Path(tonegen.page.__file__).parent / "static" / "style.css").read_text()
THEMES = {"dark": ":root {", "light": ':root[data-theme="light"] {'}
GROUNDS = ("ground", "raised", "sunk")


def colours(theme):
    """Colours of a look by name, red, green and blue from 0 to 1; the light one changes those of the dark."""
    found = {}
    for begin in [*THEMES.values()][: 1 + (theme == "light")]:
        (block,) = re.findall(re.escape(begin) + r"(.*?)\}", STYLE, re.DOTALL)
        found |= {
            name: [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
            for name, digits in re.findall(r"--([\w-]+): #([0-9a-f]{6})\b", block)
        }
    return found


def luminance(colour):
    """WCAG 2.2, "relative luminance"."""
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in colour]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def contrast(one, other):
    """WCAG 2.2, "contrast ratio", 1 to 21."""
    lower, upper = sorted((luminance(one), luminance(other)))
    return (upper + 0.05) / (lower + 0.05)


def munsell_value(colour):
    """Lightness in steps from 0, black, to 10, white: ASTM D1535, its polynomial (from memory) solved.

    It gives 100 % at value 10, and at 5 the 19.77 % of Newhall and others (1943) over their 102.57 % at 10.
    """
    polynomial = np.array([0.00081939, -0.020484, 0.23352, -0.22533, 1.1914, 0.0])
    assert np.polyval(polynomial, [5, 10]) == pytest.approx([100 * 19.77 / 102.57, 100], abs=0.05)
    steps = np.linspace(0, 10, 2001)
    return float(np.interp(100 * luminance(colour), np.polyval(polynomial, steps), steps))


@pytest.mark.parametrize("theme", THEMES)
def test_copper_and_blue_are_a_step_of_lightness_apart(theme):
    """Who sees no hue still tells the strands from each other, as on a grey screen."""
    of = colours(theme)

    assert abs(munsell_value(of["low"]) - munsell_value(of["high"])) >= 1


@pytest.mark.parametrize(("theme", "ground"), [*product(THEMES, GROUNDS)])
def test_lines_can_be_seen(theme, ground):
    """WCAG 2.2, 1.4.11: what tells of a control or a picture has 3:1 beside it."""
    of = colours(theme)

    assert {name: contrast(of[name], of[ground]) >= 3 for name in ("line", "low", "high", "quiet")} == (
        dict.fromkeys(("line", "low", "high", "quiet"), True)
    )


@pytest.mark.parametrize(("theme", "ground"), [*product(THEMES, GROUNDS)])
def test_words_can_be_read(theme, ground):
    """WCAG 2.2, 1.4.3: 4.5:1."""
    of = colours(theme)

    assert min(contrast(of[name], of[ground]) for name in ("ink", "quiet", "low", "high", "warn")) >= 4.5
    assert min(contrast(of["on-press"], of["press"]), contrast(of["quiet"], of["press"])) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_what_is_pressed_is_lit_from_below_and_is_no_bright_bar(theme):
    """A large field stays near the ground of the stage; the edge of copper says that it is pressed."""
    of = colours(theme)

    assert contrast(of["press"], of["ground"]) < 2
    assert contrast(of["low"], of["press"]) >= 3
