"""Makes the pictures of the READMEs, and notes what each was made from.

    python tests/make_pictures.py            # all of them
    python tests/make_pictures.py day_sheet  # those named

Needs the extras tablet and dev, chromium and pdftoppm (Debian: poppler-utils). Beside the pictures, DIGESTS has one
line for each: the digest of the picture, the digest of its inputs and drawing sources, its name. A test compares them,
so no change of drawing leaves an old picture behind.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlsplit

import attrs

ROOT = Path(__file__).parents[1]
FOLDER = Path("sample_jobs/pictures")
DIGESTS = FOLDER / "digests.txt"
COMMAND = "python tests/make_pictures.py"
WIDTH = 960
"""Of a picture [dots]; the pages show it at about half of that."""
DAY_SHEET_WINDOW = (1280, 975)
"""Width and height [dots]. High enough for the first boat and what is to settle on it."""
COVER, FUEL_PAGE = 1, 4

Draw = Callable[[Path, Path], None]
"""Draws into a file; the folder is for whatever it needs on the way."""


@attrs.frozen
class Picture:
    """One picture, how it is drawn, and the files that decide what it shows (patterns below the project's root)."""

    name: str
    draw: Draw
    sources: tuple[str, ...]

    @property
    def file(self) -> Path:
        return FOLDER / f"{self.name}.png"


def tablet_page(scene: str, picture: Path, work: Path) -> None:
    """A page of the tablet app, as the gallery draws it."""
    size = "1280x800"
    command = [sys.executable, "-m", "garboard_tablet.gallery", str(work), scene, size]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    shutil.copy(work / f"{scene}_{size}.png", picture)


def day_sheet(picture: Path, work: Path) -> None:
    """The day sheet in a real browser. The browser asks the pages without a socket."""
    from playwright.sync_api import sync_playwright

    from garboard.hosting.host import make_host
    from pages_rig import Pages, light_passwords, make_shop

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    host = make_host(entry_points=False)
    with light_passwords(), Pages(make_shop(work), host) as pages, sync_playwright() as playwright:
        manager = pages.signed_in()

        def answer(route: Any) -> None:
            asked = urlsplit(route.request.url)
            given = manager.get(asked.path)
            route.fulfill(status=given.status_code, headers=dict(given.headers), body=given.content)

        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        width, height = DAY_SHEET_WINDOW
        page = browser.new_page(viewport={"width": width, "height": height})
        page.route("**/*", answer)
        page.goto("https://shop.test" + manager.get("/").headers["location"])
        page.evaluate("document.fonts.ready")
        page.screenshot(path=picture)
        browser.close()


def finished_book(picture: Path, work: Path) -> None:
    """Two pages of the book that `garboard demo` finishes: its cover, and fuel and range."""
    from PIL import Image

    demo = [sys.executable, "-m", "garboard", "demo", "--out", str(work)]
    subprocess.run(demo, check=True, stdout=subprocess.DEVNULL)
    (book,) = work.glob("kittiwake-*-handover-book.pdf")
    pages = []
    for number in map(str, (COVER, FUEL_PAGE)):
        out = work / f"page{number}"
        subprocess.run(
            ["pdftoppm", "-r", "144", "-png", "-singlefile", "-f", number, "-l", number, book, out], check=True
        )
        pages.append(Image.open(f"{out}.png"))
    width, height = pages[0].size
    gap = width // 60
    spread = Image.new("RGB", (2 * width + 3 * gap, height + 2 * gap), "#68747D")
    for place, page in enumerate(pages):
        spread.paste(page, (gap + place * (width + gap), gap))
    spread.save(picture)


LOOK = (
    "core/garboard/report/palette.py",
    "tablet_app/garboard_tablet/gallery.py",
    "tablet_app/garboard_tablet/fonts/*",
    "tablet_app/garboard_tablet/ui/*",
)
"""What every page of the tablet is drawn with."""
LIVE = (*LOOK, "tablet_app/garboard_tablet/pages/live.py", "tablet_app/garboard_tablet/models/live.py")

PICTURES = (
    Picture(
        "steady_turn",
        partial(tablet_page, "kittiwake_heading_calibration_steady_turn_live"),
        (*LIVE, "plugins/garboard_heading_calibration/guide.py", "sample_jobs/kittiwake/turn.n2k.csv"),
    ),
    Picture(
        "guide",
        partial(tablet_page, "kittiwake_prop_check_full_throttle_live"),
        (*LIVE, "plugins/garboard_prop_check/guide.py", "sample_jobs/kittiwake/full_throttle.n2k.csv"),
    ),
    Picture(
        "step",
        partial(tablet_page, "long_reach_wiring_audit_circuits"),
        (
            *LOOK,
            "tablet_app/garboard_tablet/pages/step.py",
            "plugins/garboard_wiring_audit/circuit_findings.py",
            "sample_jobs/long_reach/*",
        ),
    ),
    Picture(
        "number_pad",
        partial(tablet_page, "kittiwake_wiring_audit_batteries_rest_voltage"),
        (
            *LOOK,
            "tablet_app/garboard_tablet/pages/entry.py",
            "plugins/garboard_wiring_audit/battery_findings.py",
            "sample_jobs/kittiwake/*",
        ),
    ),
    Picture(
        "day_sheet",
        day_sheet,
        (
            "core/garboard/demo/demo_day.py",
            "core/garboard/report/palette.py",
            "plugins/garboard_shop/pages/drawing.py",
            "plugins/garboard_shop/pages/sheet.py",
            "plugins/garboard_shop/pages/wording.py",
            "plugins/garboard_shop/pages/static/*",
            "core/garboard/report/fonts/*",
            "plugins/garboard_shop/pages/templates/base.html",
            "plugins/garboard_shop/pages/templates/day.html",
            "plugins/garboard_shop/pages/templates/parts.html",
            "sample_jobs/saltgrass/*",
        ),
    ),
    Picture(
        "handover_book",
        finished_book,
        (
            "core/garboard/demo/demo_day.py",
            "core/garboard/report/*.py",
            "core/garboard/report/*.typ",
            "core/garboard/report/fonts/*",
            "plugins/garboard_fuel_curve/*.py",
            "sample_jobs/kittiwake/*",
        ),
    ),
)


def digest_of_sources(picture: Picture, root: Path = ROOT) -> str:
    """SHA-256 over the names and contents of what the picture is made from, and over the size it is made in."""
    digest = hashlib.sha256(f"{WIDTH} {DAY_SHEET_WINDOW} {COVER} {FUEL_PAGE}\n".encode())
    for pattern in picture.sources:
        files = sorted(file for file in root.glob(pattern) if file.is_file())
        if not files:
            raise FileNotFoundError(f"{picture.name}: no file is called {pattern}")
        for file in files:
            content = file.read_bytes()
            digest.update(f"{file.relative_to(root).as_posix()} {len(content)}\n".encode() + content)
    return digest.hexdigest()


def digest_of_picture(picture: Picture, root: Path = ROOT) -> str:
    """SHA-256 over the picture's file."""
    return hashlib.sha256((root / picture.file).read_bytes()).hexdigest()


def line_of(picture: Picture, root: Path = ROOT) -> str:
    """What DIGESTS says of a picture that was just made."""
    return f"{digest_of_picture(picture, root)} {digest_of_sources(picture, root)} {picture.name}"


def make(picture: Picture) -> None:
    """Draw a picture, and write it in the READMEs' width with a palette, a third of the bytes."""
    from PIL import Image

    with TemporaryDirectory() as work:
        drawn = Path(work) / "drawn.png"
        picture.draw(drawn, Path(work) / "work")
        image = Image.open(drawn).convert("RGB")
        height = round(image.height * WIDTH / image.width)
        small = image.resize((WIDTH, height), Image.Resampling.LANCZOS)
        # MAXCOVERAGE, because other methods drop a colour that is on few dots, such as the red of "fail". kmeans then
        # makes the large areas exact, such as the ground.
        palette = small.quantize(256, Image.Quantize.MAXCOVERAGE, kmeans=1, dither=Image.Dither.NONE)
        palette.save(ROOT / picture.file, optimize=True)


def main(names: Sequence[str]) -> int:
    """Make the pictures named, or all, and note their digests."""
    unknown = sorted({*names} - {picture.name for picture in PICTURES})
    if unknown:
        print(f"No picture is called {', '.join(unknown)}. There are {', '.join(one.name for one in PICTURES)}.")
        return 2
    noted = (ROOT / DIGESTS).read_text(encoding="utf-8").splitlines() if (ROOT / DIGESTS).exists() else []
    lines = {line.split()[-1]: line for line in noted}
    for picture in PICTURES:
        if not names or picture.name in names:
            make(picture)
            lines[picture.name] = line_of(picture)
            print(picture.file)
    known = [lines[picture.name] for picture in PICTURES if picture.name in lines]
    (ROOT / DIGESTS).write_text("\n".join(known) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
