"""A person at the pages who follows links by what they say: from the board on, two clicks at most."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import attrs

from pages_rig import Browser

MOST_CLICKS = 2


@attrs.frozen
class Link:
    """A link as it reads, with the heading it stands under."""

    words: str
    href: str
    heading: str

    def is_said(self, says: str) -> bool:
        """Whether it says what a pattern asks for."""
        return re.search(says, self.words) is not None


class _Links(HTMLParser):
    """Links and the cells of tables, in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.links: list[Link] = []
        self.rows: list[list[str]] = []
        self.heading = ""
        self._into: list[list[str]] = []
        self._tags: list[tuple[str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        if tag in ("a", "h1", "h2", "td"):
            self._into.append([])
            self._tags.append((tag, {name: value or "" for name, value in attributes}))
        if tag == "tr":
            self.rows.append([])

    def handle_data(self, data: str) -> None:
        for into in self._into:
            into.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "section":  # what follows stands under its heading no more
            self.heading = ""
        if not self._tags or self._tags[-1][0] != tag:
            return
        words, (_, about) = " ".join(" ".join(self._into.pop()).split()), self._tags.pop()
        if tag == "a" and "href" in about:
            self.links.append(Link(about.get("aria-label", words), about["href"], self.heading))
        elif tag in ("h1", "h2"):
            self.heading = words
        elif tag == "td" and self.rows:
            self.rows[-1].append(words)


@attrs.define
class Walk:
    """A person at the pages, who begins at the board and clicks."""

    browser: Browser
    page: str = ""
    clicks: int = 0

    def __attrs_post_init__(self) -> None:
        self.page = self.browser.text("/board")

    def read(self) -> _Links:
        reader = _Links()
        reader.feed(self.page)
        return reader

    def links(self, heading: str = "") -> list[Link]:
        return [link for link in self.read().links if heading in ("", link.heading)]

    def click(self, says: str, heading: str = "") -> Walk:
        """The one place a link that says so leads to."""
        fitting = [link for link in self.links(heading) if link.is_said(says)]
        assert len({link.href for link in fitting}) == 1, f"{says!r}: {[link.words for link in fitting]}"
        self.clicks += 1
        assert self.clicks <= MOST_CLICKS, "a third click"
        self.page = self.browser.text(fitting[0].href)
        return self

    @property
    def jobs(self) -> list[tuple[str, str]]:
        """Hull and state of the rows on this page and those after it: turning a page is no click further."""
        found, page = self._rows(), self.page
        while following := [link for link in self.links() if link.words == "Next page"]:
            self.page = self.browser.text(following[0].href)
            found += self._rows()
        self.page = page
        return found

    def _rows(self) -> list[tuple[str, str]]:
        return [(row[2].split()[-1], row[0]) for row in self.read().rows if len(row) == 8]

    @property
    def cells(self) -> dict[str, list[str]]:
        """The cells of each row of the board, by hull."""
        return {row[2].split()[-1]: row for row in self.read().rows if len(row) == 8}

    @property
    def count(self) -> int:
        """How many the page says it lists."""
        found = re.search(r"to [\d ]+ of ([\d ]+?)</b>|>(0) jobs", self.page)
        assert found
        return int((found[1] or found[2]).replace(" ", ""))
