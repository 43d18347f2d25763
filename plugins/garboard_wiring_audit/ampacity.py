"""How much current a conductor may carry, by the rule the shop chose."""

from __future__ import annotations

from collections.abc import Mapping

from garboard.findings import Lack, NotEnoughData, in_full, rounded
from garboard.record_types import frozen
from garboard_wiring_audit.conductors import Conductor, ambient_factor, gauge_within, metric_size_within, of_area

CFR_TABLE_5 = "33 CFR 183.425 Table 5"
ISO_BY_AREA = "ISO 10133 by area (from memory)"

TABLE_5_INSULATION = (60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0)
TABLE_5: Mapping[str, tuple[float, ...]] = {
    "18": (10, 10, 15, 20, 20, 25, 25),
    "16": (15, 15, 20, 25, 25, 30, 35),
    "14": (20, 20, 25, 30, 35, 40, 45),
    "12": (25, 25, 35, 40, 45, 50, 55),
    "10": (40, 40, 50, 55, 60, 70, 70),
    "8": (55, 65, 70, 70, 80, 90, 100),
    "6": (80, 95, 100, 100, 120, 125, 135),
    "4": (105, 125, 130, 135, 160, 170, 180),
    "3": (120, 145, 150, 155, 180, 195, 210),
    "2": (140, 170, 175, 180, 210, 225, 240),
    "1": (165, 195, 210, 210, 245, 265, 280),
    "1/0": (195, 230, 245, 245, 285, 305, 325),
    "2/0": (225, 265, 285, 285, 330, 355, 370),
    "3/0": (260, 310, 330, 330, 385, 410, 430),
    "4/0": (300, 360, 385, 385, 445, 475, 510),
}
"""33 CFR 183.425 Table 5 [A], in 30 degC, by gauge and by insulation rating."""

ENGINE_SPACE_FACTOR: Mapping[float, float] = {
    60.0: 0.58,
    75.0: 0.75,
    80.0: 0.78,
    90.0: 0.82,
    105.0: 0.85,
    125.0: 0.89,
    200.0: 1.0,
}
"""Table 5, note 1: in an engine space (50 degC). Only the 105 degC factor was read; the others are from memory."""
ENGINE_SPACE_FACTOR_READ = 105.0
ENGINE_SPACE = 50.0
"""How warm the rules take an engine space to be [degC]; a warmer one is judged by the ambient formula."""

BUNDLING_FACTOR = ((25, 0.4), (7, 0.5), (4, 0.6), (3, 0.7))
"""Table 5, note 2, from memory: from how many current-carrying conductors, and the factor."""

ISO_INSULATION = (60.0, 70.0, 90.0, 105.0, 125.0, 200.0)
ISO_AMPACITY: Mapping[float, tuple[float, ...]] = {
    0.75: (8, 10, 12, 16, 20, 25),
    1.0: (12, 14, 18, 20, 25, 35),
    1.5: (16, 18, 21, 25, 30, 40),
    2.5: (20, 25, 30, 35, 40, 45),
    4.0: (30, 35, 40, 45, 50, 55),
    6.0: (40, 45, 50, 60, 70, 75),
    10.0: (60, 65, 70, 90, 100, 120),
    16.0: (80, 90, 100, 130, 150, 170),
    25.0: (110, 120, 140, 170, 185, 200),
    35.0: (140, 160, 185, 210, 225, 240),
    50.0: (180, 210, 230, 270, 300, 325),
    70.0: (220, 265, 285, 330, 360, 375),
    95.0: (260, 310, 330, 390, 410, 430),
    120.0: (300, 360, 400, 450, 480, 520),
    150.0: (350, 380, 430, 475, 520, 560),
}
"""ISO 10133:2012 table A.2 [A], in 30 degC, from memory: confirm before relying on it."""


@frozen(kw_only=True)
class Allowable:
    """What a conductor may carry and how that came about.

    table       : the table's value in 30 degC [A]
    factor      : engine-space and bundling factors together [-]
    size        : the table's row ("16 AWG")
    converted   : the row is the next smaller size of the other family
    from_memory : values used that were not read in their source
    by_formula  : temperature the ambient formula was used for [degC]; None where it was not
    insulation  : rating of the row [degC]
    lower_row   : the table lacks the conductor's own rating, so the next lower row counts
    """

    table: float
    factor: float
    size: str
    converted: bool = False
    from_memory: tuple[str, ...] = ()
    by_formula: float | None = None
    insulation: float
    lower_row: bool = False

    @property
    def amperes(self) -> float:
        """Allowable current [A]."""
        return self.table * self.factor


def table_5(gauge: str, insulation: float) -> float:
    """Ampacity by 33 CFR 183.425 Table 5, 30 degC.

    gauge      : American wire gauge, "18" to "4/0" [AWG]
    insulation : temperature rating printed on the conductor: 60, 75, 80, 90, 105, 125 or 200 [degC]
    returns    : ampacity [A]
    Raises NotEnoughData for a gauge or a rating the table does not have.

    >>> table_5("16", 105.0)
    25

    [1] 33 CFR 183.425, Table 5.
    """
    if gauge not in TABLE_5:
        raise NotEnoughData(
            f"{gauge} AWG is not in {CFR_TABLE_5}", lack=Lack.NOT_COVERED, field="circuits.conductor_awg"
        )
    return TABLE_5[gauge][_column(insulation, TABLE_5_INSULATION, CFR_TABLE_5)]


def iso_by_area(area: float, insulation: float) -> float:
    """Ampacity by ISO 10133, 30 degC, from memory.

    area       : a size of the table, 0.75 to 150 [mm2]
    insulation : temperature rating: 60, 70, 85 to 90, 105, 125 or 200 [degC]
    returns    : ampacity [A]
    Raises NotEnoughData for an area or a rating the table does not have.

    >>> iso_by_area(2.5, 85.0)
    30

    [1] ISO 10133:2012, table A.2, from memory.
    """
    if area not in ISO_AMPACITY:
        text = f"{in_full(area)} mm2 is not in the table of ISO 10133"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, field="circuits.conductor_area")
    return ISO_AMPACITY[area][_column(90.0 if insulation == 85.0 else insulation, ISO_INSULATION, "ISO 10133")]


def bundling_factor(conductors: int) -> float:
    """Factor for current-carrying conductors bundled or sheathed together.

    conductors : current-carrying conductors in the bundle, 0 or above [-]
    returns    : factor, 1 below three conductors [-]

    >>> bundling_factor(2), bundling_factor(3), bundling_factor(30)
    (1.0, 0.7, 0.4)

    [1] 33 CFR 183.425, Table 5, note 2, from memory.
    """
    return next((factor for least, factor in BUNDLING_FACTOR if conductors >= least), 1.0)


def allowable(
    rule: str, conductor: Conductor, insulation: float, engine_space: float | None, bundled: int
) -> Allowable:
    """Current a conductor may carry.

    rule         : `CFR_TABLE_5` or `ISO_BY_AREA` [-]
    conductor    : its size [-]
    insulation   : temperature rating printed on it [degC]
    engine_space : how warm the engine space it runs through gets, not taken below 50; None outside of one [degC]
    bundled      : current-carrying conductors bundled with it where bundling counts; 1 where it does not [-]
    returns      : the allowable current and how it came about [A]
    Raises NotEnoughData where the rule's table has no such size, or no rating so low.

    >>> from garboard_wiring_audit.conductors import of_gauge
    >>> allowable(CFR_TABLE_5, of_gauge("16"), 105.0, 50.0, 1).amperes
    21.25
    >>> round(allowable(CFR_TABLE_5, of_gauge("16"), 105.0, 80.0, 1).amperes, 1)
    14.4

    [1] 33 CFR 183.425, Table 5 and its notes 1 and 2.
    [2] ISO 10133:2012, table A.2, from memory.
    [3] NEC 310.15(B), ambient formula: in any engine space by [2], by [1] in one warmer than its 50 degC.
    """
    memory = ["bundling factor of note 2"] if bundling_factor(bundled) < 1 else []
    rated = row_within(rule, insulation)
    if rule == ISO_BY_AREA:
        size = metric_size_within(conductor)
        table, row = iso_by_area(size, rated), of_area(size).label
        converted = bool(conductor.gauge)
        memory.append("ISO 10133 ampacity table")
    else:
        gauge = gauge_within(conductor)
        table, row = table_5(gauge, rated), f"{gauge} AWG"
        converted = not conductor.gauge
    in_space, by_formula = 1.0, None
    if engine_space is not None and (rule == ISO_BY_AREA or engine_space > ENGINE_SPACE):
        by_formula = max(engine_space, ENGINE_SPACE)
        in_space = ambient_factor(rated, by_formula)
    elif engine_space is not None:
        in_space = ENGINE_SPACE_FACTOR[rated]
        if rated != ENGINE_SPACE_FACTOR_READ:
            memory.append(f"engine-space factor {in_full(in_space)} for {rounded(rated)} degC")
    return Allowable(
        table=table,
        factor=in_space * bundling_factor(bundled),
        size=row,
        converted=converted,
        from_memory=tuple(memory),
        by_formula=by_formula,
        insulation=rated,
        lower_row=rated < insulation,
    )


def row_within(rule: str, insulation: float) -> float:
    """The row of a rule's table that a conductor's insulation counts as: its own, or the next lower one.

    rule       : `CFR_TABLE_5` or `ISO_BY_AREA` [-]
    insulation : temperature rating printed on the conductor [degC]
    returns    : rating of the row [degC]
    Raises NotEnoughData for a rating below the table's lowest.

    >>> row_within(CFR_TABLE_5, 105.0), row_within(CFR_TABLE_5, 70.0), row_within(ISO_BY_AREA, 85.0)
    (105.0, 60.0, 90.0)

    [1] The next lower row is on the safe side: common practice, no source. ISO 10133 has one row for 85 to 90 degC.
    """
    rows, table = (ISO_INSULATION, "ISO 10133") if rule == ISO_BY_AREA else (TABLE_5_INSULATION, CFR_TABLE_5)
    if rule == ISO_BY_AREA and 85.0 <= insulation < 90.0:
        return 90.0
    lower = [row for row in rows if row <= insulation]
    if not lower:
        text = f"insulation rated {in_full(insulation)} degC lies below {table} ({rounded(rows[0])} degC and above)"
        hint = "enter the rating printed on it"
        raise NotEnoughData(f"{text}; {hint}", lack=Lack.NOT_COVERED, field="circuits.insulation_temperature")
    return lower[-1]


def _column(insulation: float, columns: tuple[float, ...], table: str) -> int:
    if insulation not in columns:
        ratings = ", ".join(rounded(rating) for rating in columns)
        raise NotEnoughData(
            f"insulation rated {in_full(insulation)} degC is not in {table} ({ratings}); enter the rating printed "
            f"on it",
            lack=Lack.NOT_COVERED,
            field="circuits.insulation_temperature",
        )
    return columns.index(insulation)
