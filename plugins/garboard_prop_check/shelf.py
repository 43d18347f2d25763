"""The propellers a shop keeps, as one setting of text holds them: easy to type, to read and to carry to tablets.

One propeller after the other, with semicolons or new lines between: diameter x pitch in inches, and after commas what
else is known of it, in any order: blades, material, cup, a stock number or name.
"""

from __future__ import annotations

import re

from garboard.record_types import frozen

_NUMBER = r"[1-9][0-9]?(?:\.[0-9]{1,3})?"
_PROPELLER = rf" *{_NUMBER} *x *{_NUMBER}(?: in)? *(?:,[^,;\n]{{1,40}})*"

SHELF = rf"(?:{_PROPELLER}(?:[;\n](?:{_PROPELLER})?)*)?"
"""What the whole setting must match."""

EXAMPLE = "14.5 x 17, 3 blades, aluminium; 14.25 x 19, stainless steel, light cup"

CUPS = {"no cup": "none", "light cup": "light", "heavy cup": "heavy", "cup": "heavy"}
"""How a cup is written on the shelf, and its word in `records.Propeller.cup`. A cup without a word is a whole one."""

MATERIALS = ("aluminium", "stainless steel", "composite")


@frozen(kw_only=True)
class Kept:
    """A propeller that is at hand; pitch and diameter as stamped, the diameter 0 where nobody knows it [in].

    cup, material : "" where nobody said
    name          : whatever else is written of it, such as the shop's stock number
    """

    diameter: float
    pitch: float
    blades: int | None = None
    material: str = ""
    cup: str = ""
    name: str = ""


def read_shelf(text: str) -> tuple[Kept, ...]:
    """The propellers of a text that matches `SHELF`, in the order they stand.

    >>> [(one.diameter, one.pitch, one.cup) for one in read_shelf("14.5 x 17; 14 x 19, cup")]
    [(14.5, 17.0, ''), (14.0, 19.0, 'heavy')]
    """
    return tuple(_kept(one) for one in re.split(r"[;\n]", text) if one.strip())


def _kept(text: str) -> Kept:
    size, *said = (part.strip() for part in text.split(","))
    diameter, pitch = (float(part) for part in size.removesuffix("in").split("x"))
    blades = next((int(one[:-6]) for one in said if re.fullmatch(r"[2-9] blades", one)), None)
    others = (one for one in said if one not in CUPS and one not in MATERIALS and one != f"{blades} blades")
    return Kept(
        diameter=diameter,
        pitch=pitch,
        blades=blades,
        material=next((one for one in said if one in MATERIALS), ""),
        cup=next((CUPS[one] for one in said if one in CUPS), ""),
        name=", ".join(others),
    )
