"""Lists the licence of every distribution installed here and of each npm package; fails on an unknown one.

What a distribution states itself counts: its licence expression [1], else its classifiers [2], else its field
"License". Where it states nothing, or more than holds, STATED_HERE says what its own licence files say.

[1] PEP 639: Core Metadata's "License-Expression", SPDX identifiers with AND, OR and WITH.
[2] PyPI's trove classifiers, "License :: ...".

Run:  python .ci/licences.py
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from importlib.metadata import Distribution, distributions
from pathlib import Path

import attrs
from license_expression import ExpressionError, LicenseSymbol, Licensing

_PERMISSIVE = "permissive: its notice stays with its own distribution"
_OWN_FILES = "covers changes to its own files; none of them is changed"
_LIBRARY = "a library of its own, unchanged, which anybody can exchange; the program holds no part of it"
ALLOWED: Mapping[str, str] = {
    **dict.fromkeys(("0BSD", "BSD-2-Clause", "BSD-3-Clause", "LicenseRef-BSD", "MIT", "MIT-0", "MIT-CMU"), _PERMISSIVE),
    **dict.fromkeys(("Apache-2.0", "ISC", "PSF-2.0", "Zlib"), _PERMISSIVE),
    **dict.fromkeys(("FTL", "HPND", "IJG", "libpng-2.0", "libtiff", "Unicode-3.0"), _PERMISSIVE),
    **dict.fromkeys(("CC0-1.0", "LicenseRef-Public-Domain"), "given to the public"),
    "MPL-2.0": _OWN_FILES,
    **dict.fromkeys(("LGPL-2.1-or-later", "LGPL-3.0-only"), _LIBRARY),
}
"""Licences, and why the program may stand on what is under them."""

OF_CLASSIFIER: Mapping[str, str] = {
    "OSI Approved :: Apache Software License": "Apache-2.0",
    "OSI Approved :: BSD License": "LicenseRef-BSD",  # one of the BSD licences; all of them are permissive
    "OSI Approved :: ISC License (ISCL)": "ISC",
    "OSI Approved :: MIT License": "MIT",
    "OSI Approved :: Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "OSI Approved :: Python Software Foundation License": "PSF-2.0",
    "Public Domain": "LicenseRef-Public-Domain",
}

STATED_HERE: Mapping[str, tuple[str, str]] = {
    "axe-playwright-python": ("MIT AND MPL-2.0", "its LICENSE file, and the heading of the axe.min.js that it carries"),
    "docutils": (
        "LicenseRef-Public-Domain AND BSD-2-Clause AND 0BSD AND PSF-2.0",
        "COPYING.rst; the GPL is that of an editor's mode, which is not in the distribution",
    ),
    "pypdfium2": (
        "Apache-2.0 AND BSD-2-Clause AND BSD-3-Clause AND FTL AND HPND AND IJG AND libpng-2.0 AND libtiff AND MIT"
        " AND Unicode-3.0 AND Zlib",
        "its LICENSES and BUILD_LICENSES: its own, that of PDFium, and those of the libraries within",
    ),
}
"""Distributions whose metadata does not say it, by name: the licence, and where it was read."""


@attrs.frozen
class Licensed:
    """A distribution and its licence, as an expression; "" where it states none."""

    name: str
    version: str
    licence: str


def of_distribution(found: Distribution) -> Licensed:
    """What a distribution states."""
    name = found.name.lower().replace("_", "-")
    if name in STATED_HERE:
        return Licensed(name, found.version, STATED_HERE[name][0])
    prefix = "License :: "
    classifiers = [one.removeprefix(prefix) for one in found.metadata.get_all("Classifier") or [] if prefix in one]
    told = " AND ".join(OF_CLASSIFIER.get(one, f"'{one}'") for one in classifiers if one != "OSI Approved")
    expression, free = ("".join(found.metadata.get_all(key) or []) for key in ("License-Expression", "License"))
    return Licensed(name, found.version, (expression or told or free).strip())


def of_npm(lock: Path) -> Iterator[Licensed]:
    """What the packages of an npm lock state."""
    packages = json.loads(lock.read_text(encoding="utf-8"))["packages"]
    for path, package in packages.items():
        if path:
            yield Licensed(f"npm {path.removeprefix('node_modules/')}", package["version"], package.get("license", ""))


def is_known(licence: str) -> bool:
    """Whether ALLOWED names what the expression asks for: all of AND, one of OR."""
    licensing = Licensing()
    try:
        tree = licensing.parse(licence)
    except ExpressionError:
        return False

    def holds(part: object) -> bool:
        if isinstance(part, LicenseSymbol):
            return part.key in ALLOWED
        if isinstance(part, licensing.AND):
            return all(map(holds, part.args))
        return isinstance(part, licensing.OR) and any(map(holds, part.args))

    return holds(tree)


def faults(found: Iterable[Licensed]) -> list[str]:
    """A sentence for every distribution whose licence is not known."""
    expected = f"expected a licence out of {', '.join(ALLOWED)}"
    cure = "read its licence; then add it to ALLOWED in .ci/licences.py with the reason, or do without it"
    return [
        f"{one.name} {one.version}: {expected}; got {one.licence[:80] or 'none'!r}. What to do: {cure}"
        for one in found
        if not is_known(one.licence)
    ]


def main(lock: Path = Path(__file__).parents[1] / "tests" / "webassembly" / "package-lock.json") -> int:
    """Print all licences, and the unknown ones on the error output; 1 where there is one."""
    found = sorted({of_distribution(one) for one in distributions()} | {*of_npm(lock)}, key=lambda one: one.name)
    by_licence: dict[str, list[str]] = {}
    for one in found:
        by_licence.setdefault(one.licence or "none", []).append(f"{one.name} {one.version}")
    for licence, names in sorted(by_licence.items()):
        print(f"{licence} ({len(names)}): {', '.join(names)}")
    unknown = faults(found)
    print(f"{len(found)} distributions, {len(by_licence)} licences, {len(unknown)} not known")
    print("\n".join(unknown), end="\n" if unknown else "", file=sys.stderr)
    return bool(unknown) or not found


if __name__ == "__main__":
    sys.exit(main())
