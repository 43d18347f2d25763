"""A check file that changes steps and settings of the program's own."""

from __future__ import annotations

LEFT_OUT = "engine_trial.under_load"
SAID = (
    "Left out by the shop: the engines are run in at the maker's. Decided by R. Vane, 14 May 2026, in the check Rail 2."
)
ADDED = "The shop's check Rail also asks: Whistle heard on the dock."
DROP = "wiring_audit.drop_critical"

HEAD = """format = "garboard check"
version = 1
name = "rail"
title = "Rail"
edition = "2"
basis = {kind = "shop rule", text = "our yard's own rule"}
"""
LEAVE = f"""
[[leave_out]]
step = "{LEFT_OUT}"
when = "job_kind == 'commissioning' and engines == 3"
reason = "the engines are run in at the maker's"
by = "R. Vane"
on = "2026-05-14"
"""
STRICTER = f"""
[[stricter]]
setting = "{DROP}"
value = "2 %"
reason = "our boats are long"
by = "R. Vane"
on = "2026-05-14"
"""
ADD = """
[[add_to]]
name = "lights"
step = "handover.lights_and_horn"

[[add_to.field]]
name = "whistle"
title = "Whistle heard on the dock"
kind = "yes or no"

[[add_to.read]]
name = "horn"
field = "horn"

[[result]]
name = "whistle"
title = "Whistle"
step = "lights"
about = "whistle"
[[result.case]]
verdict = "fail"
code = "not_heard"
when = "horn and not whistle"
sentence = "The horn sounds, and is not heard on the dock."
[[result.case]]
verdict = "pass"
code = "heard"
sentence = "What was tried is heard."
"""
CHECK = f"{HEAD}{LEAVE}{STRICTER}{ADD}"
