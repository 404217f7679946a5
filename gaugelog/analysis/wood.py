"""Wood that takes up and gives off moisture: how much wider or thicker a piece gets.

Here: the species' coefficients, and the change of one dimension. Not here: how moist the air makes the wood
(`climate`), which pieces of an instrument a reading sees (`wood_path`).
"""

from __future__ import annotations

import difflib
import math
import re

RADIAL, TANGENTIAL = "radial", "tangential"
LEAST_PERCENT, MOST_PERCENT = 6.0, 14.0

_COEFFICIENTS: dict[str, tuple[float, float]] = {
    "Alder, red": (0.00151, 0.00256),
    "Apple": (0.00205, 0.00376),
    "Ash, black": (0.00172, 0.00274),
    "Ash, Oregon": (0.00141, 0.00285),
    "Ash, pumpkin": (0.00126, 0.00219),
    "Ash, white": (0.00169, 0.00274),
    "Ash, green": (0.00169, 0.00274),
    "Aspen, quaking": (0.00119, 0.00234),
    "Basswood, American": (0.00230, 0.00330),
    "Beech, American": (0.00190, 0.00431),
    "Birch, paper": (0.00219, 0.00304),
    "Birch, river": (0.00162, 0.00327),
    "Birch, yellow": (0.00256, 0.00338),
    "Birch, sweet": (0.00256, 0.00338),
    "Buckeye, yellow": (0.00123, 0.00285),
    "Butternut": (0.00116, 0.00223),
    "Catalpa, northern": (0.00085, 0.00169),
    "Cherry, black": (0.00126, 0.00248),
    "Chestnut, American": (0.00116, 0.00234),
    "Cottonwood, black": (0.00123, 0.00304),
    "Cottonwood, eastern": (0.00133, 0.00327),
    "Elm, American": (0.00144, 0.00338),
    "Elm, rock": (0.00165, 0.00285),
    "Elm, slippery": (0.00169, 0.00315),
    "Elm, winged": (0.00183, 0.00419),
    "Elm, cedar": (0.00183, 0.00419),
    "Hackberry": (0.00165, 0.00315),
    "Honeylocust": (0.00144, 0.00230),
    "Locust, black": (0.00158, 0.00252),
    "Madrone, Pacific": (0.00194, 0.00451),
    "Magnolia, cucumbertree": (0.00180, 0.00312),
    "Magnolia, southern": (0.00187, 0.00230),
    "Magnolia, sweetbay": (0.00162, 0.00293),
    "Maple, bigleaf": (0.00126, 0.00248),
    "Maple, red": (0.00137, 0.00289),
    "Maple, silver": (0.00102, 0.00252),
    "Maple, black": (0.00165, 0.00353),
    "Maple, sugar": (0.00165, 0.00353),
    "Oak, black": (0.00123, 0.00230),
    "Red oak, commercial": (0.00158, 0.00369),
    "Red oak, California": (0.00123, 0.00230),
    "Red oak: water, laurel, willow": (0.00151, 0.00350),
    "White oak, commercial": (0.00180, 0.00365),
    "White oak, live": (0.00230, 0.00338),
    "White oak, Oregon white": (0.00144, 0.00327),
    "White oak, overcup": (0.00183, 0.00462),
    "Persimmon, common": (0.00278, 0.00403),
    "Sassafras": (0.00137, 0.00216),
    "Sweetgum": (0.00183, 0.00365),
    "Sycamore, American": (0.00172, 0.00296),
    "Tanoak": (0.00169, 0.00423),
    "Tupelo, black": (0.00176, 0.00308),
    "Tupelo, water": (0.00144, 0.00267),
    "Walnut, black": (0.00190, 0.00274),
    # not seen in the table: from its shrinkage, 4.6 and 8.2 %, as `change_coefficient` says
    "Yellow-poplar": (0.00158, 0.00289),
}


def _words(species: str) -> tuple[str, ...]:
    """Return a species' words in an order of their own: `Walnut, black` and `black walnut` are one."""
    return tuple(sorted(re.findall(r"\w+", species.casefold())))


_BY_WORDS = {_words(species): species for species in _COEFFICIENTS}


def known_species() -> tuple[str, ...]:
    """Return the species of the table, as it names them and in its order."""
    return tuple(_COEFFICIENTS)


def nearest_species(species: str) -> tuple[str, ...]:
    """Return up to three species of the table whose names are most like `species`, the likeliest first."""
    by_text = {" ".join(words): name for words, name in _BY_WORDS.items()}
    near = difflib.get_close_matches(" ".join(_words(species)), by_text, 3, 0.6)
    return tuple(by_text[text] for text in near)


def change_coefficient(species: str, grain: str) -> float | None:
    """Return by what fraction a dimension grows with each percent of moisture content, None for a species not known.

    Source: USDA Wood Handbook (FPL-GTR-190), Table 13-5, p. 13-16, domestic hardwoods. The table follows from the
    shrinkage S from green to ovendry (Table 4-3), taken as even from 30 % of moisture down and based on the dimension
    at 10 %: C = (S/30)/(1 - S 20/30), which gives its values to the last digit; yellow-poplar is worked out so.
    Mahogany and other imported woods are left out: the values at hand for them don't agree with their shrinkage.

    When this is wrong: a coefficient is the mean of a species, and one board may well differ from it by a quarter
    (common practice, no source); growth rings at a slant lie between radial and tangential.

    Args:
        species: as the table names it; small or capital letters and the order of its words don't matter.
        grain: which way the dimension runs through the growth rings, "radial" or "tangential".

    Raises:
        ValueError: `grain` is neither.
    """
    if grain not in (RADIAL, TANGENTIAL):
        raise ValueError(f"grain is {RADIAL} or {TANGENTIAL}, not {grain!r}")
    name = _BY_WORDS.get(_words(species))
    if name is None:
        return None
    radial, tangential = _COEFFICIENTS[name]
    return radial if grain == RADIAL else tangential


def in_range(percent: float) -> bool:
    """Return whether a moisture content lies where the coefficients hold: 6 to 14 %."""
    return LEAST_PERCENT <= percent <= MOST_PERCENT


def dimensional_change(
    species: str, grain: str, size_mm: float, from_percent: float, to_percent: float
) -> float | None:
    """Return how much a dimension across the grain grows (shrinks: minus) between two moisture contents, in mm.

    Formula: ΔD = D C (M_to - M_from), D the dimension at M_from, C as `change_coefficient`.
    Source: USDA Wood Handbook (FPL-GTR-190), chapter 13, p. 13-16.

    When this is wrong: as `change_coefficient`; wood held by glue, by a finish or by a neighbour of another grain moves
    less and strains instead; along the grain none of this holds.

    Args:
        species: as in `change_coefficient`.
        grain: "radial" or "tangential".
        size_mm: the dimension, 0 or above.
        from_percent: moisture content of the wood at first, 6 to 14 %.
        to_percent: moisture content afterwards, 6 to 14 %.

    Returns:
        None for a species that the table doesn't have (`nearest_species` offers some).

    Raises:
        ValueError: a size below 0 or not finite, a moisture content outside 6 to 14 %, a grain that is neither.
    """
    if not (math.isfinite(size_mm) and size_mm >= 0):
        raise ValueError("a dimension is 0 or above")
    if not (in_range(from_percent) and in_range(to_percent)):
        raise ValueError(f"the coefficients hold from {LEAST_PERCENT:g} to {MOST_PERCENT:g} % of moisture content")
    coefficient = change_coefficient(species, grain)
    return None if coefficient is None else size_mm * coefficient * (to_percent - from_percent)
