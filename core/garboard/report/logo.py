"""A shop's logo: a picture from anybody's hand, read with care, made small, and kept as the text of a setting.

A drawing (SVG) is written anew from what may only draw: it loads nothing, runs nothing and repeats nothing. What a
setting holds may come from another program, so it is read with the same care when it is printed.

[1] W3C, Scalable Vector Graphics 1.1: elements and attributes. From memory.
[2] RFC 2397, the form "data:image/png;base64,...".
"""

from __future__ import annotations

import base64
import binascii
import math
import re
import xml.etree.ElementTree as ElementTree
from importlib.util import find_spec
from io import BytesIO
from typing import TYPE_CHECKING

from garboard.faults import GarboardError, in_words
from garboard.record_types import frozen
from garboard.report.photo_files import NoPicture, PictureRefused, opened
from garboard.report.press import BookRefused, on_paper
from garboard.settings import picture_in
from garboard.units import in_full

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST = 30_000
"""Of a logo as it is kept [bytes]: as text it fits into an entry with room to spare."""
LARGEST_FILE = 5_000_000
HIGHEST, WIDEST = 18.0, 60.0
"""As printed [mm]."""
_SIDES = (600, 400, 300, 200, 120)
"""A logo is kept as large as it fits [dots]: 600 are 250 to the inch."""
_MOST_PARTS, _DEEPEST = 2000, 24
_PALEST = 230
"""Of the darkest dot, from 0 for black to 255 for white: on paper a logo of white on a clear ground is nothing."""
_FLATTEST = 20.0  # width to height, or height to width
_SVG = "{http://www.w3.org/2000/svg}"
_DRAWS = frozenset(
    {"svg", "g", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "title", "desc"}
    | {"defs", "linearGradient", "radialGradient", "stop"}
)
_ATTRIBUTES = frozenset(
    {"id", "d", "x", "y", "width", "height", "rx", "ry", "cx", "cy", "r", "fx", "fy", "x1", "y1", "x2", "y2", "points"}
    | {"viewBox", "preserveAspectRatio", "transform", "display", "visibility", "color", "opacity"}
    | {"fill", "fill-rule", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-linecap"}
    | {"stroke-linejoin", "stroke-miterlimit", "stroke-dasharray", "stroke-dashoffset"}
    | {"offset", "stop-color", "stop-opacity", "gradientUnits", "gradientTransform", "spreadMethod"}
)
_LOADS = re.compile(r"url\(\s*(?![\"']?#)|[a-z]+://|javascript:|data:|@import|expression", re.IGNORECASE)
_STYLE = re.compile(r"\s*([a-z-]+)\s*:\s*([^;]*?)\s*(?:;|$)")


class LogoRefused(GarboardError):
    """A file cannot be a logo; says why, and what to do."""


@frozen
class Logo:
    """A logo to print. ending: of its file; width, height: as printed [mm]"""

    content: bytes
    ending: str
    width: float
    height: float


def logo_as_kept(content: bytes) -> str:
    """A file as the text a setting holds. Raises LogoRefused."""
    if not content:
        raise LogoRefused("The file is empty. Choose another.")
    if len(content) > LARGEST_FILE:
        raise LogoRefused(f"The file is larger than {in_full(LARGEST_FILE / 1e6)} MB. Make it smaller.")
    if _is_drawing(content):
        drawing, across = _drawing(content)
        if len(drawing) > LARGEST:
            raise LogoRefused(
                f"The drawing has {len(drawing)} bytes once written plainly; {LARGEST} fit. Simplify it, or save it as "
                "a PNG."
            )
        _refuse_unseen_drawing(drawing, across)
        return _text("svg+xml", drawing)
    for side in _SIDES:
        for form, kind in (("PNG", "png"), ("JPEG", "jpeg")):
            made = _picture(content, side, form)
            if len(made) <= LARGEST:
                return _text(kind, made)
    raise LogoRefused("The picture is too rich to be a logo. Choose one with fewer colours.")


def logo_to_print(text: object) -> Logo | None:
    """What a setting holds as it is printed; None for nothing, and for what is no logo."""
    found = picture_in(text)
    if found is None:
        return None
    kind, encoded = found
    try:
        content = base64.b64decode(encoded, validate=True)
        if len(content) > LARGEST:
            return None
        if kind == "svg+xml":
            drawing, across = _drawing(content)
            return Logo(drawing, "svg", *_as_printed(across))
        made = _picture(content, _SIDES[0], "PNG")
        image = opened(made, _SIDES[0])
        return Logo(made, "png", *_as_printed(_proportion(image.width, image.height)))
    except (binascii.Error, ValueError, LogoRefused):
        return None


def _text(kind: str, content: bytes) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(content).decode()}"


def _as_printed(across: float) -> tuple[float, float]:
    wide = min(WIDEST, HIGHEST * across)
    return wide, wide / across


def _proportion(width: float, height: float) -> float:
    """Width to height. Raises LogoRefused for what is no picture's."""
    if not (width > 0 and height > 0 and math.isfinite(width) and math.isfinite(height)):
        raise LogoRefused("The drawing does not say how wide and how high it is. Save it with a size.")
    across = width / height
    if not 1 / _FLATTEST <= across <= _FLATTEST:
        raise LogoRefused(
            f"It is more than {in_full(_FLATTEST)} times as long as it is high, or the other way. Cut it out."
        )
    return across


def _picture(content: bytes, side: int, form: str) -> bytes:
    """A picture's dots alone, in another file: nothing else that stood in it is kept."""
    try:
        image = opened(content, side)
    except PictureRefused as refused:
        other = "This is no picture that can be read here: PNG, JPEG or SVG. Choose another."
        raise LogoRefused(other if refused.why is NoPicture.OTHER else in_words(refused)) from None
    _proportion(image.width, image.height)
    _refuse_unseen(image)
    made = BytesIO()
    image.save(made, form, optimize=True)
    return made.getvalue()


def _refuse_unseen(image: Image) -> None:
    if not any(image.convert("L").histogram()[: _PALEST + 1]):
        raise LogoRefused("Nothing of it can be seen on white paper. Choose one with darker colours.")


def _refuse_unseen_drawing(drawing: bytes, across: float) -> None:
    """Refuse what the typesetter of the book prints as nothing, or cannot print. Without a typesetter it is taken."""
    if find_spec("typst") is None:
        return
    try:
        printed = on_paper(drawing, "svg", *_as_printed(across))
    except BookRefused:
        raise LogoRefused("No book can print this drawing. Save it again as plain SVG, or as a PNG.") from None
    _refuse_unseen(opened(printed, _SIDES[0]))


# A drawing


def _is_drawing(content: bytes) -> bool:
    """Whether a file begins as a drawing, in whatever coding."""
    begins = content[:4096].replace(b"\0", b"").lower()
    return b"<svg" in begins or begins.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def _drawing(content: bytes) -> tuple[bytes, float]:
    """A drawing written anew, and its width to its height. Raises LogoRefused."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LogoRefused("The drawing is not written in UTF-8. Save it again as plain SVG, or as a PNG.") from None
    if re.search(r"<!\s*(?:DOCTYPE|ENTITY)\b(?![^>\[]*>)|<!\s*ENTITY", text, re.IGNORECASE) or "<?xml-" in text:
        raise LogoRefused("The drawing declares entities or style sheets. Save it again as plain SVG, or as a PNG.")
    try:
        root = ElementTree.fromstring(re.sub(r"<!\s*DOCTYPE[^>\[]*>", "", text, flags=re.IGNORECASE).strip())
    except (ElementTree.ParseError, ValueError, RecursionError):
        raise LogoRefused("The drawing cannot be read. Save it again as plain SVG, or as a PNG.") from None
    if root.tag not in (f"{_SVG}svg", "svg"):
        raise LogoRefused("The file is no SVG drawing. Choose a PNG, a JPEG or an SVG.")
    made, count = _anew(root, 0)
    if count > _MOST_PARTS:
        raise LogoRefused(f"The drawing has more than {_MOST_PARTS} parts. Simplify it, or save it as a PNG.")
    across = _size(made)
    made.set("xmlns", _SVG.strip("{}"))
    return ElementTree.tostring(made), across


def _anew(part: ElementTree.Element, depth: int) -> tuple[ElementTree.Element, int]:
    """A part with those in it, and how many they are. What is of other vocabularies draws nothing, and is left out."""
    if depth > _DEEPEST:
        raise LogoRefused(f"The drawing has groups more than {_DEEPEST} deep. Ungroup it, or save it as a PNG.")
    made = ElementTree.Element(_name(part))
    for name, value in _attributes(part):
        if _LOADS.search(value):
            raise LogoRefused(f"The drawing loads something in {name!r}. Embed nothing, or save it as a PNG.")
        made.set(name, value)
    count = 1
    for child in part:
        if not isinstance(child.tag, str) or (child.tag.startswith("{") and not child.tag.startswith(_SVG)):
            continue
        if _name(child) not in _DRAWS:
            raise LogoRefused(
                f"The drawing holds <{_name(child)[:40]}>, which is not printed. Turn it into paths, or save it as a "
                "PNG."
            )
        if _name(child) not in ("title", "desc"):
            below, more = _anew(child, depth + 1)
            made.append(below)
            count += more
    return made, count


def _name(part: ElementTree.Element) -> str:
    return str(part.tag).removeprefix(_SVG)


def _attributes(part: ElementTree.Element) -> list[tuple[str, str]]:
    """Attributes that draw, those of a style too. A link or what runs is refused."""
    found: list[tuple[str, str]] = []
    for name, value in part.attrib.items():
        bare = name.rpartition("}")[2]
        if bare == "href" or bare.lower().startswith("on"):
            raise LogoRefused(f"The drawing holds {bare[:40]!r}. Embed nothing, or save it as a PNG.")
        if name == "style":
            found += [(one, said) for one, said in _STYLE.findall(value) if one in _ATTRIBUTES]
        elif name in _ATTRIBUTES:
            found.append((name, value))
    return found


_LENGTH = re.compile(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*(?:px|mm|cm|in|pt|pc)?\s*")


def _size(root: ElementTree.Element) -> float:
    """Width to height of a whole drawing; one without a view gets that of its size."""
    seen = re.fullmatch(r"\s*" + r"[\s,]+".join([r"(-?\d{1,6}(?:\.\d{1,9})?)"] * 4) + r"\s*", root.get("viewBox", ""))
    if seen:
        return _proportion(float(seen[3]), float(seen[4]))
    width, height = (_LENGTH.fullmatch(root.get(name, "")) for name in ("width", "height"))
    if width is None or height is None:
        raise LogoRefused("The drawing does not say how wide and how high it is. Save it with a size.")
    root.set("viewBox", f"0 0 {width[1]} {height[1]}")
    return _proportion(float(width[1]), float(height[1]))
