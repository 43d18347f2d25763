"""What a technician is asked about fit-out, the capacity label, safety gear, fuel pressure and shore power."""

from __future__ import annotations

from garboard.cautions import CAPACITY_LABEL, DEFER, FUEL_FIRE, FUEL_VAPOUR, SHORE_POWER
from garboard.fields import TODAY
from garboard.steps import Field, Kind, Phase, Step
from garboard_engine_trial.asked import amount, table, text, yes
from garboard_engine_trial.settings import FIT_OUT_LIST

LAW = "engine_trial.label_and_gear"
FIT_OUT = "engine_trial.fit_out"

COASTAL, INLAND = "coastal or Great Lakes", "inland"
OPEN, CLOSED = "open throughout", "closed spaces"

STEPS = (
    Step(
        key=LAW,
        title="Rigged weight and safety gear",
        phase=Phase.ALONGSIDE,
        order=362,
        cautions=(CAPACITY_LABEL, DEFER),
        at_hand=("capacity label", "weights by the makers' sheets"),
        fields=(
            Field(
                name="label_persons",
                title="Label: persons",
                kind=Kind.COUNT,
                plausible=(1, 15),
                hard=(0, 100),
                required=False,
            ),
            amount("label_persons_weight", "Label: weight of persons", "weight", "lb", (150, 2500), (0, 50_000)),
            amount("label_weight", "Label: persons, motors and gear", "weight", "lb", (200, 4000), (0, 100_000)),
            table(
                "rigged_weights",
                "Rigged",
                text(
                    "rigged_item",
                    "Item",
                    offers=("Engine", "Controls", "Batteries", "Tower", "Electronics"),
                ),
                amount("item_weight", "Weight", "weight", "lb", (1, 1500), (0, 20_000)),
                required=False,
                help="A boat of 20 ft or more may carry no label: leave it out.",
            ),
            Field(name="waters", title="Waters", kind=Kind.CHOICE, choices=(COASTAL, INLAND)),
            Field(
                name="spaces",
                title="Spaces where vapour can gather",
                kind=Kind.CHOICE,
                choices=(OPEN, CLOSED),
                help="Closed: lockers, cabin, a fuel tank built in, or a double bottom that is not filled or sealed.",
            ),
            Field(name="most_persons", title="Most people aboard", kind=Kind.COUNT, plausible=(1, 15), hard=(1, 100)),
            Field(name="wearables", title="Life jackets to wear", kind=Kind.COUNT, plausible=(1, 20), hard=(0, 200)),
            yes("throwable", "Throwable flotation aboard"),
            Field(
                name="extinguishers", title="Portable extinguishers", kind=Kind.COUNT, plausible=(0, 8), hard=(0, 50)
            ),
            yes("distress_signals", "Visual distress signals, day and night, in date", required=False),
        ),
    ),
    Step(
        key=FIT_OUT,
        title="Fit-out, fuel pressure, shore power",
        phase=Phase.ALONGSIDE,
        order=368,
        cautions=(FUEL_VAPOUR, FUEL_FIRE, SHORE_POWER, DEFER),
        at_hand=("air or inert gas with a gauge for the fuel test", "the makers' mounting sheets"),
        fields=(
            table(
                "fitted",
                "Fit-out",
                text(
                    "item",
                    "Item",
                    required=True,
                    offers_from=(FIT_OUT_LIST,),
                    offers=("Hard top or tower", "Seats", "Hatches and doors", "Cleats", "Ladder", "Rod holders"),
                ),
                yes("through_bolted", "Through-bolted with backing, or as its maker says"),
                yes("moves_clear", "Moves its whole way clear of everything"),
                yes("holds_load", "Holds when it is loaded by hand"),
            ),
            amount(
                "test_pressure",
                "Fuel system: test pressure at the start",
                "pressure",
                "psi",
                (1, 6),
                (0, 50),
                doubted_outside=(0.0, 10.0),
            ),
            amount("pressure_after", "Fuel system: pressure at the end", "pressure", "psi", (0, 6), (0, 50)),
            amount("test_minutes", "Fuel system: minutes between", "time", "min", (1, 60), (0, 1440)),
            text("shore_power_by", "Shore power: checked by, licensed", help="Leave empty where there is none."),
            text("shore_power_licence", "Shore power: licence"),
            text(
                "shore_power_on",
                "Shore power: on",
                help="Year, month, day, such as 2027-05-01.",
                offers_from=(TODAY,),
            ),
        ),
    ),
)
