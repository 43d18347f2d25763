"""The tags of a book, as another reader than its typesetter finds them."""

from __future__ import annotations

from io import BytesIO
from typing import Any


def structure_of(content: bytes) -> list[tuple[str, str, str]]:
    """Every element of the structure tree in reading order: its tag, its words for a figure, a head's scope.

    ISO 32000-1:2008, 14.7.2: the structure tree; 14.8.5.7: Scope of a table's head.
    """
    import pikepdf

    found: list[tuple[str, str, str]] = []

    def walk(node: Any) -> None:
        if isinstance(node, pikepdf.Array):
            for kid in node:
                walk(kid)
        elif isinstance(node, pikepdf.Dictionary) and "/S" in node:
            owned = node.get("/A", pikepdf.Array())
            attributes = [owned] if isinstance(owned, pikepdf.Dictionary) else [*owned]
            scope = next((str(one["/Scope"]) for one in attributes if "/Scope" in one), "")
            found.append((str(node["/S"]), str(node.get("/Alt", "")), scope))
            walk(node.get("/K", pikepdf.Array()))

    with pikepdf.open(BytesIO(content)) as book:
        assert book.Root.MarkInfo.Marked
        walk(book.Root.StructTreeRoot.K)
    return found
