"""Strings as wire: mass, tension, stiffness and how near a steel string comes to its breaking strength.

SI units inside. The stiffness B is that of the partial law in `interval.partial_hz`.
"""

from math import pi
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

STEEL_DENSITY_KG_PER_M3: Final = 7850.0  # general physics
STEEL_YOUNGS_MODULUS_PA: Final = 200e9  # general physics
METRES_PER_INCH: Final = 0.0254
# Tuned higher than this share of its strength, a string is likely to break (common practice, no source).
HIGHEST_SAFE_FRACTION_OF_STRENGTH: Final = 0.95


def plain_kg_per_metre(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """Mass per length of plain steel wire: density times its section."""
    return STEEL_DENSITY_KG_PER_M3 * pi * np.asarray(diameter_m, dtype=np.float64) ** 2 / 4


def wound_kg_per_metre(diameter_m: ArrayLike, core_m: ArrayLike) -> NDArray[np.float64]:
    """Mass per length of a core with one close round wrap out to `diameter_m`.

    A turn of wrap wire w = (d - core) / 2 is pi (core + w) long and moves on by w:
    rho (pi w^2 / 4) pi (core + w) / w. The wrap is taken to be steel or nickel, of nearly the same density.
    """
    core = np.asarray(core_m, dtype=np.float64)
    wrap = (np.asarray(diameter_m, dtype=np.float64) - core) / 2
    return plain_kg_per_metre(core) + STEEL_DENSITY_KG_PER_M3 * pi**2 * wrap * (core + wrap) / 4


def usual_core_m(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """The core that a wound string of this gauge usually has.

    Common practice, from memory, no source: about 0.0135 in for a .026, 0.018 in for a .054.
    """
    inches = np.asarray(diameter_m, dtype=np.float64) / METRES_PER_INCH
    return METRES_PER_INCH * np.minimum(0.0135 * (inches / 0.026) ** 0.4, 0.8 * inches)


def tension_newtons(kg_per_metre: ArrayLike, length_m: ArrayLike, hz: ArrayLike) -> NDArray[np.float64]:
    """Tension of a string that sounds at `hz`: mu (2 L f)^2 (Mersenne)."""
    speed = 2 * np.asarray(length_m, dtype=np.float64) * np.asarray(hz, dtype=np.float64)
    return np.asarray(kg_per_metre, dtype=np.float64) * speed**2


def stiffness(core_m: ArrayLike, length_m: ArrayLike, newtons: ArrayLike) -> NDArray[np.float64]:
    """B of a string whose steel core bears the bending: pi^3 E d^4 / (64 T L^2).

    Source: H. Fletcher (1964), for a solid round wire.
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
    """
    semitones = np.asarray(fret, dtype=np.float64) - np.asarray(raised_semitones, dtype=np.float64)
    return np.asarray(open_stiffness, dtype=np.float64) * np.exp2(semitones / 6)


def least_strength_pa(diameter_m: ArrayLike) -> NDArray[np.float64]:
    """Least tensile strength of music wire: 2211 MPa / d^0.145, d in mm.

    Source: Shigley, Mechanical Engineering Design, ASTM A228 constants (from memory); within 2 % of the
    A228 table from 0.1 to 1.5 mm.
    """
    return 2211e6 / (np.asarray(diameter_m, dtype=np.float64) * 1000) ** 0.145


def fraction_of_strength(
    hz: ArrayLike, length_m: ArrayLike, core_m: ArrayLike, kg_per_metre: ArrayLike
) -> NDArray[np.float64]:
    """Stress in the core at this pitch, as a share of the least strength of its wire."""
    section = pi * np.asarray(core_m, dtype=np.float64) ** 2 / 4
    return tension_newtons(kg_per_metre, length_m, hz) / section / least_strength_pa(core_m)
