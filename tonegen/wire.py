"""Strings as wire: mass, tension, stiffness and how near a steel string comes to its breaking strength.

SI units inside. The stiffness B is that of the partial law in `interval.partial_hz`.
"""

from dataclasses import dataclass
from math import isfinite, pi
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.pitch import hz_from_key

STEEL_DENSITY_KG_PER_M3: Final = 7850.0  # general physics
STEEL_YOUNGS_MODULUS_PA: Final = 200e9  # general physics
METRES_PER_INCH: Final = 0.0254
# Tuned higher than this share of its strength, a string is likely to break (common practice, no source).
HIGHEST_SAFE_FRACTION_OF_STRENGTH: Final = 0.95

_PA_PER_KSI: Final = 6.894757e6
# ASTM A228, least tensile strength of music wire by diameter: inches, thousands of pounds a square inch.
# Source: the standard's table as Inter-Wire Group reprints it for tinned music wire.
_A228_INCHES: Final = (
    0.005, 0.006, 0.008, 0.009, 0.011, 0.012, 0.014, 0.015, 0.018, 0.020, 0.024, 0.026,
    0.030, 0.032, 0.036, 0.038, 0.042, 0.045, 0.051, 0.055, 0.063, 0.067, 0.080, 0.090,
)  # fmt: skip
_A228_LEAST_KSI: Final = (
    426.0, 415.0, 399.0, 393.0, 382.0, 377.0, 369.0, 365.0, 356.0, 350.0, 341.0, 337.0,
    330.0, 327.0, 321.0, 318.0, 313.0, 309.0, 303.0, 300.0, 293.0, 290.0, 282.0, 276.0,
)  # fmt: skip
# Beyond the thickest row strength goes with this power of the diameter; the last rows fall by -0.18.
_POWER_BEYOND: Final = -0.2
_SAME_GAUGE_INCHES: Final = 1e-9


def plain_kg_per_metre(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """Mass per length of plain steel wire: density times its section.

    >>> float(plain_kg_per_metre(0.014 * METRES_PER_INCH).round(6))  # a plain .014: 0.78 grams a metre
    0.00078
    """
    return STEEL_DENSITY_KG_PER_M3 * pi * np.asarray(diameter_m, dtype=np.float64) ** 2 / 4


def wound_kg_per_metre(diameter_m: ArrayLike, core_m: ArrayLike) -> NDArray[np.float64]:
    """Mass per length of a core with one close round wrap out to `diameter_m`.

    A turn of wrap wire w = (d - core) / 2 is pi (core + w) long and moves on by w:
    rho (pi w^2 / 4) pi (core + w) / w. The wrap is taken to be steel or nickel, of nearly the same density.

    >>> inches = METRES_PER_INCH
    >>> float(wound_kg_per_metre(0.036 * inches, 0.016 * inches).round(4))
    0.0043
    """
    core = np.asarray(core_m, dtype=np.float64)
    wrap = (np.asarray(diameter_m, dtype=np.float64) - core) / 2
    return plain_kg_per_metre(core) + STEEL_DENSITY_KG_PER_M3 * pi**2 * wrap * (core + wrap) / 4


def usual_core_m(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """The core that a wound string of this gauge usually has.

    Common practice, from memory, no source: about 0.0135 in for a .026, 0.018 in for a .054.

    >>> float((usual_core_m(0.036 * METRES_PER_INCH) / METRES_PER_INCH).round(4))
    0.0154
    """
    inches = np.asarray(diameter_m, dtype=np.float64) / METRES_PER_INCH
    return METRES_PER_INCH * np.minimum(0.0135 * (inches / 0.026) ** 0.4, 0.8 * inches)


def tension_newtons(kg_per_metre: ArrayLike, length_m: ArrayLike, hz: ArrayLike) -> NDArray[np.float64]:
    """Tension of a string that sounds at `hz`: mu (2 L f)^2 (Mersenne).

    >>> float(tension_newtons(0.00078, 0.61, 329.63).round(0))  # a .014 at E4
    126.0
    """
    speed = 2 * np.asarray(length_m, dtype=np.float64) * np.asarray(hz, dtype=np.float64)
    return np.asarray(kg_per_metre, dtype=np.float64) * speed**2


def stiffness(core_m: ArrayLike, length_m: ArrayLike, newtons: ArrayLike) -> NDArray[np.float64]:
    """B of a string whose steel core bears the bending: pi^3 E d^4 / (64 T L^2).

    Source: H. Fletcher (1964), for a solid round wire.

    >>> float(stiffness(0.014 * METRES_PER_INCH, 0.61, 126.0).round(6))
    3.3e-05
    """
    core = np.asarray(core_m, dtype=np.float64)
    length = np.asarray(length_m, dtype=np.float64)
    return (
        pi**3 * STEEL_YOUNGS_MODULUS_PA * core**4 / (64 * np.asarray(newtons, dtype=np.float64) * length**2)
    )


def stiffness_elsewhere(
    open_stiffness: ArrayLike, raised_semitones: ArrayLike, fret: ArrayLike
) -> NDArray[np.float64]:
    """B of the same string when a change has moved it and the bar has shortened it.

    B goes with 1 / (T L^2); tension grows with the square of the pitch, and the bar divides the length:
    B * 2^((fret - raised) / 6).

    >>> float(stiffness_elsewhere(1e-5, 0, 12))  # an octave up the neck, half the length: four times
    4e-05
    """
    semitones = np.asarray(fret, dtype=np.float64) - np.asarray(raised_semitones, dtype=np.float64)
    return np.asarray(open_stiffness, dtype=np.float64) * np.exp2(semitones / 6)


def least_strength_pa(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """Least tensile strength of music wire, by the table of ASTM A228, on the cautious side elsewhere.

    Between two rows it is that of the thicker, and below the thinnest, .005 in, that of the thinnest: thinner
    wire is stronger. Above the thickest, .090 in, it falls faster than the table does. Between rows it is up
    to 4 % below the line between them, 1.2 % at 1.5 mm. The usual law, 2211 MPa / d^0.145 (d in mm; Shigley,
    Mechanical Engineering Design, from memory), holds to 2.2 % at 1.5 mm, on the side on which strings break.

    >>> float((least_strength_pa(0.011 * METRES_PER_INCH) / 1e6).round(0))  # in MPa
    2634.0
    >>> float((least_strength_pa(0.0015) / 1e6).round(0))  # the standard's .059 in: 2041, from memory
    2020.0
    """
    inches = np.asarray(diameter_m, dtype=np.float64) / METRES_PER_INCH
    thickest = _A228_INCHES[-1]
    # A gauge that is a row's own must find that row, whatever its way through metres did to the last digit.
    row = np.searchsorted(_A228_INCHES, np.minimum(inches, thickest) - _SAME_GAUGE_INCHES)
    beyond = np.maximum(inches / thickest, 1.0) ** _POWER_BEYOND
    return np.asarray(np.take(_A228_LEAST_KSI, row) * _PA_PER_KSI * beyond)


def fraction_of_strength(
    hz: ArrayLike, length_m: ArrayLike, core_m: ArrayLike, kg_per_metre: ArrayLike
) -> NDArray[np.float64]:
    """Stress in the core at this pitch, as a share of its wire's minimum strength.

    >>> mass = plain_kg_per_metre(0.011 * METRES_PER_INCH)
    >>> float(fraction_of_strength(415.3, 0.61, 0.011 * METRES_PER_INCH, mass).round(2))  # a .011 at G#4
    0.77
    """
    section = pi * np.asarray(core_m, dtype=np.float64) ** 2 / 4
    return tension_newtons(kg_per_metre, length_m, hz) / section / least_strength_pa(core_m)


@dataclass(frozen=True, slots=True)
class Wire:
    """What a string is made of. Lengths in inches, as the trade writes gauges."""

    gauge_inches: float
    length_inches: float
    wound: bool = False
    core_inches: float | None = None

    @property
    def core_m(self) -> float:
        """Diameter of the steel that bears the tension; the usual one where none is given.

        >>> round(Wire(0.014, 24.0).core_m, 6), round(Wire(0.036, 24.0, wound=True).core_m, 6)
        (0.000356, 0.000391)
        """
        if not self.wound:
            return self.gauge_inches * METRES_PER_INCH
        if self.core_inches is not None:
            return self.core_inches * METRES_PER_INCH
        return float(usual_core_m(self.gauge_inches * METRES_PER_INCH))

    @property
    def length_m(self) -> float:
        """Nut to bridge."""
        return self.length_inches * METRES_PER_INCH

    @property
    def kg_per_metre(self) -> float:
        """Mass per length.

        >>> round(Wire(0.014, 24.0).kg_per_metre, 6)
        0.00078
        """
        diameter_m = self.gauge_inches * METRES_PER_INCH
        if self.wound:
            return float(wound_kg_per_metre(diameter_m, self.core_m))
        return float(plain_kg_per_metre(diameter_m))

    def stiffness(self, hz: float) -> float:
        """B of the open string tuned to `hz`."""
        newtons = tension_newtons(self.kg_per_metre, self.length_m, hz)
        return float(stiffness(self.core_m, self.length_m, newtons))

    def fraction_of_strength(self, hz: float) -> float:
        """How near the open string at `hz` comes to the least strength of its wire.

        >>> round(Wire(0.011, 24.0).fraction_of_strength(415.3), 2)
        0.76
        """
        return float(fraction_of_strength(hz, self.length_m, self.core_m, self.kg_per_metre))


def open_stiffness(wire: Wire | None, given: float | None, open_key: int) -> float | None:
    """B of an open string: as given, else from its wire at equal temperament, else None.

    Raises BadValue when it is given and not a finite number from 0 to 0.1.

    >>> open_stiffness(None, 1e-5, 64), round(open_stiffness(Wire(0.014, 24.0), None, 64), 6)
    (1e-05, 3.3e-05)
    """
    if given is not None:
        if not (isfinite(given) and 0 <= given <= 0.1):
            raise BadValue(f"stiffness {given:g} is out of range; give B as 0 to 0.1, such as 0.00003")
        return given
    return wire.stiffness(float(hz_from_key(open_key))) if wire else None
