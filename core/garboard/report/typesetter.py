"""Sets one book in type, in a process of its own: the typesetter keeps some 40 MB of every book it made.

Run by `press`, by its path and with no argument: a request comes on the input as one line of JSON, then the template
and the data; what was made, or why not, goes to the output in the same way. It imports nothing of the program.
"""

from __future__ import annotations

import json
import sys
from typing import Any


def answer(request: dict[str, Any], template: bytes, data: str) -> tuple[dict[str, Any], bytes]:
    """What was made, and what was said of it."""
    import typst

    try:
        made, warnings = typst.compile_with_warnings(
            template,
            root=request["root"],
            font_paths=typst.Fonts(
                include_system_fonts=False, include_embedded_fonts=False, font_paths=request["fonts"]
            ),
            ignore_system_fonts=True,
            sys_inputs={"data": data},
            **request["made"],
        )
    except typst.TypstError as failure:
        return {"refused": f"{failure.message} {' '.join(failure.hints)} {failure.diagnostic}"}, b""
    if warnings:
        return {"refused": "; ".join(one.message for one in warnings)}, b""
    return {"refused": ""}, made if isinstance(made, bytes) else b""


def main() -> None:
    request = json.loads(sys.stdin.buffer.readline())
    template = sys.stdin.buffer.read(request["template"])
    said, made = answer(request, template, sys.stdin.buffer.read().decode())
    sys.stdout.buffer.write(json.dumps(said).encode() + b"\n" + made)


if __name__ == "__main__":
    main()
