"""Blocks of a report section as a plugin wrote them: what no book can print is the plugin's fault."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from garboard.faults import shown
from garboard.findings import Figure, Finding, Number, Table
from garboard.hosting.exact import exact
from garboard.owner_pages import OWNER_BLOCKS
from garboard.record_types import is_text
from garboard.steps import Block

_KINDS = (Table, Figure, Finding, Number, *OWNER_BLOCKS)
_NO_LIST = (str, bytes, dict, *_KINDS)


def checked_blocks(given: Any) -> Sequence[Block]:
    """The blocks of a section. Raises TypeError for anything else."""
    if given is None or isinstance(given, _NO_LIST):
        raise TypeError(f"build gives a list of blocks, got {shown(given)}")
    return [_checked(block) for block in given]


def _checked(block: Any) -> Block:
    if is_text(block):
        return str.__str__(block)
    if not isinstance(block, _KINDS):
        raise TypeError(
            f"a block is text, a Table, a Figure, a Finding, a Number or one of owner_pages, got {shown(block)}"
        )
    return cast("Block", exact(block))
