"""What a technician is asked after the trial: bolts again, the break-in plan, the service calendar, what was filed."""

from __future__ import annotations

from garboard.cautions import BATTERY_OFF, DEFER, PROPELLERS
from garboard.fields import IN_A_MONTH, IN_A_YEAR, PEOPLE, TODAY
from garboard.steps import Phase, Step
from garboard_engine_trial.asked import amount, table, text, yes

AFTER = "engine_trial.after"
DAY = "Year, month, day, such as 2027-05-01."

STEPS = (
    Step(
        key=AFTER,
        title="After the trial: bolts, break-in, service, records",
        phase=Phase.HAND_OVER,
        order=715,
        cautions=(BATTERY_OFF, PROPELLERS, DEFER),
        at_hand=("torque wrench", "engine maker's break-in and service pages"),
        fields=(
            yes("retorqued", "Mounting bolts tightened again as the maker says", each="engines"),
            table(
                "break_in",
                "Break-in plan",
                text(
                    "band",
                    "Load allowed",
                    offers=(
                        "slow, out of full throttle",
                        "up to half throttle",
                        "up to three quarters",
                        "full throttle for a minute at a time",
                    ),
                    of_model=True,
                ),
                amount("until", "Until engine hours", "time", "h", (0.1, 50), (0, 1000), of_model=True),
                required=False,
            ),
            table(
                "services",
                "Service calendar",
                text(
                    "service",
                    "Service",
                    required=True,
                    offers=("20 hour check", "100 hour or yearly service"),
                    of_model=True,
                ),
                amount(
                    "due_hours",
                    "Due at engine hours",
                    "time",
                    "h",
                    (10, 1000),
                    (0, 50_000),
                    doubted_outside=(0.0, 5_000.0),
                    of_model=True,
                ),
                text("due_date", "Due on", help=DAY, offers_from=(IN_A_MONTH, IN_A_YEAR)),
            ),
            table(
                "records",
                "Filed",
                text(
                    "record",
                    "What",
                    required=True,
                    offers=("Engine warranty", "Boat warranty", "Boat registration", "Radio identity"),
                ),
                text("filed_by", "Filed by", required=True, offers_from=(PEOPLE,)),
                text("filed_on", "Filed on", required=True, help=DAY, offers_from=(TODAY,)),
                text("reference", "Reference"),
            ),
        ),
    ),
)
