"""What a plugin's checks asked of a job, as lines of text: for its author, who wonders why one says what it says."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from garboard.hosting.explaining import Explained
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import place_in_words


def explained_in_words(found: Iterable[Explained], host: PluginHost) -> Iterator[str]:
    """Each calculator with its verdicts, then each value: "given", "missing", or a setting."""
    for one in found:
        yield f"{one.calculator.key} ({one.calculator.title})"
        for asked in one.asked:
            where = "/".join(asked.place).rstrip("/")
            named = place_in_words(asked.place, host)
            if asked.lacks:
                yield f"  missing  {where}: {asked.lacks}"
            else:
                yield f"  given    {where}: {json.dumps(asked.value, ensure_ascii=False)} ({named})"
        yield from (f"  missing  {'/'.join((lack.field, lack.of)).strip('/')}: {lack.text}" for lack in one.lacks)
        yield from (f"  setting  {key}: {json.dumps(value, ensure_ascii=False)}" for key, value in one.settings)
        for finding in one.findings:
            yield f"  {finding.verdict.value}: {finding.code}. {finding.sentence}"
        if not one.asked and not one.findings:
            yield "  asks for nothing on this boat"
