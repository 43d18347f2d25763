"""Builds the wheel, and writes beside it the list of what it stands on, as CycloneDX [1].

The list names every distribution that `pip install 'garboard[office,tablet]'` brings on this system, as it is installed
here, with its licence and with what it needs itself. It is checked against CycloneDX's own schema before it is written.

[1] ECMA-424: CycloneDX Bill of Materials, version 1.6 as JSON.

Run:  python .ci/parts_list.py FOLDER
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterable, Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import TYPE_CHECKING

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import licences

if TYPE_CHECKING:
    from cyclonedx.model.component import Component

ROOT = Path(__file__).parents[1]
PROJECT = "garboard"
EXTRAS = frozenset({"office", "tablet"})
"""What a shop and a tablet install; what developers do is not part of the program."""


def needs(name: str, extras: Iterable[str]) -> Iterator[tuple[str, frozenset[str]]]:
    """What a distribution asks for on this system, each with the extras it is asked for with."""
    for text in distribution(name).requires or ():
        one = Requirement(text)
        if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            yield canonicalize_name(one.name), frozenset(one.extras)


def tree(name: str, extras: frozenset[str]) -> dict[str, set[str]]:
    """Every distribution that one stands on, by name, with those it asks for itself.

    Raises PackageNotFoundError where one of them is not installed.
    """
    found: dict[str, set[str]] = {}
    open_ones, seen = [(name, extras)], set[tuple[str, frozenset[str]]]()
    while open_ones:
        asked = open_ones.pop()
        if asked in seen:
            continue
        seen.add(asked)
        inner = [*needs(*asked)]
        found.setdefault(asked[0], set()).update(below for below, _ in inner if below != asked[0])
        open_ones += inner
    return found


def parts_list(wheel: Path, extras: frozenset[str] = EXTRAS) -> str:
    """The list as JSON, valid by its schema. Raises ValueError where it is not."""
    from cyclonedx.model import HashAlgorithm, HashType  # a second of loading, which the tests of `tree` do without
    from cyclonedx.model.bom import Bom
    from cyclonedx.model.component import ComponentType
    from cyclonedx.output.json import JsonV1Dot6
    from cyclonedx.schema import SchemaVersion
    from cyclonedx.validation.json import JsonStrictValidator

    found = tree(PROJECT, extras)
    components = {name: _component(name) for name in found}
    whole = components[PROJECT]
    whole.type = ComponentType.APPLICATION
    whole.hashes.add(HashType(alg=HashAlgorithm.SHA_256, content=hashlib.sha256(wheel.read_bytes()).hexdigest()))
    bom = Bom(components=[one for name, one in components.items() if name != PROJECT])
    bom.metadata.component = whole
    for name, below in found.items():
        bom.register_dependency(components[name], [components[one] for one in sorted(below)])
    text = JsonV1Dot6(bom).output_as_string(indent=1)
    if fault := JsonStrictValidator(SchemaVersion.V1_6).validate_str(text):
        raise ValueError(f"the list does not fit CycloneDX 1.6: {fault.data}")
    return text


def _component(name: str) -> Component:
    from cyclonedx.contrib.license.factories import LicenseFactory
    from cyclonedx.model.component import Component, ComponentType
    from packageurl import PackageURL

    licensed = licences.of_distribution(distribution(name))
    url = PackageURL("pypi", name=name, version=licensed.version)
    return Component(
        name=name,
        version=licensed.version,
        type=ComponentType.LIBRARY,
        purl=url,
        bom_ref=url.to_string(),
        licenses=[LicenseFactory().make_from_string(licensed.licence)] if licensed.licence else (),
    )


def main(folder: Path) -> int:
    """Build the wheel and write the list beside it."""
    from hatchling.builders.wheel import WheelBuilder

    (built,) = WheelBuilder(str(ROOT)).build(directory=str(folder), versions=["standard"])
    wheel = Path(built)
    try:
        text = parts_list(wheel)
    except PackageNotFoundError as missing:
        print(f"{missing.name}: expected it installed: pip install -e '.[office,tablet]'", file=sys.stderr)
        return 1
    beside = wheel.with_suffix(".cdx.json")
    beside.write_text(text + "\n", encoding="utf-8")
    print(f"{wheel}\n{beside}: {len(tree(PROJECT, EXTRAS)) - 1} distributions")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
