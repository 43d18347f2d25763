"""The propellers that may be tried instead: whole inches of pitch, what the shop keeps, what the boat has beside."""

from __future__ import annotations

import enum
import math
from collections.abc import Collection, Iterator, Sequence

from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import NamedPropeller, Propeller
from garboard_prop_check.fitted import Fitted
from garboard_prop_check.power_balance import Candidate
from garboard_prop_check.shelf import Kept, read_shelf
from garboard_prop_check.slip_findings import CUP_ACTS_AS

CUP_DOUBT = 0.5
"""By how much a whole cup acts as more or less than its inch, standard deviation [in]; assumed."""

BLADE_ACTS_AS, BLADE_DOUBT = 0.5, 0.25
"""Each blade more acts as so much more pitch, and how sure that is, standard deviation [in]: a four-blade turns 50 to
150 rev/min slower than a three-blade of its size. Common practice, no source; from memory."""

SAME_SIZE = 0.05
"""Sizes of propellers within so much are the same [in]."""

TURNS_ALIKE = 0.004
"""By less of its power another propeller takes, no engine turns another speed, as a share [-]."""

OTHER_SERIES = 0.03
"""By how much the pitch of another series or material works as another, standard deviation as a share [-]; assumed."""


MOST_BESIDE_STAMP = 3
"""By no more is a pitch measured beside its stamp [in]."""


class Source(enum.Enum):
    """Where a propeller would come from."""

    INCH = "whole inches of pitch"
    SHELF = "on the shop's shelf"
    BOAT = "on board"


@frozen(kw_only=True)
class Option:
    """One propeller to try, on every engine alike.

    change : whole inches more, for one that has to be found [in]
    kept   : the propeller itself where it is at hand
    """

    source: Source = Source.INCH
    change: int = 0
    kept: Kept | None = None

    @property
    def is_at_hand(self) -> bool:
        """Whether it need not be bought."""
        return self.kept is not None

    def pitch(self, one: Fitted) -> float:
        """Its stamped pitch [in], instead of what an engine ran: makers' sizes go from stamp to stamp."""
        return self.kept.pitch if self.kept else one.stamp + self.change

    def change_of(self, one: Fitted) -> float:
        """How much more pitch that is than the engine ran, measured where it was [in]."""
        return self.pitch(one) - one.pitch

    def works_as(self, one: Fitted) -> float:
        """How much more pitch it acts as, cup and blades counted [in]."""
        return self.candidate(one).pitch - one.pitch

    def is_the_way(self, one: Fitted, way: int) -> bool:
        """Whether it lies the right way, +1 more and -1 less: by its stamp, or by what pitch, cup, blades and diameter
        do together."""
        candidate, ran = self.candidate(one), one.engine.propeller
        burden = math.log(candidate.pitch / one.pitch)
        if candidate.diameter and ran and ran.diameter and ran.diameter.to("in") > 0:
            burden += math.log(candidate.diameter / ran.diameter.to("in"))
        return way * self.change_of(one) > 0 or way * burden > TURNS_ALIKE

    def candidate(self, one: Fitted, weight: float = 1.0) -> Candidate:
        """What the balance of power is asked.

        weight : of boat and load over that of the runs [-]
        """
        if self.kept is None:
            return Candidate(pitch=self.pitch(one), weight=weight)
        pitch, doubt = likened(self.kept.pitch, self.kept, one.engine.propeller or Propeller())
        return Candidate(pitch=pitch, diameter=self.kept.diameter or None, weight=weight, other_series=doubt)


def likened(pitch: float, one: Kept | Propeller, other: Propeller) -> tuple[float, float]:
    """The pitch [in] of a propeller as that of one like another, and how sure that is, deviation as a share [-].

    >>> likened(19, Propeller(cup="heavy"), Propeller())
    (20.0, 0.02631578947368421)
    >>> likened(19, Propeller(blades=4), Propeller(blades=3))[0]
    19.5
    """
    cup = CUP_ACTS_AS.get(one.cup, 0.0) - CUP_ACTS_AS.get(other.cup, 0.0) if one.cup else 0.0
    blades = one.blades - other.blades if one.blades and other.blades else 0
    doubt = (CUP_DOUBT * cup / pitch, BLADE_DOUBT * blades / pitch)
    series = OTHER_SERIES if _is_of_another_series(one, other) else 0.0
    return pitch + cup + BLADE_ACTS_AS * blades, math.hypot(*doubt, series)


def inches(way: int, largest: float, fitted: Sequence[Fitted]) -> list[Option]:
    """Whole inches of the stamp more (+1) or less (-1) that leave some pitch, up to the most the shop advises [in].

    What was measured may lie beside its stamp: then the sizes that lie the right way of what was measured.
    """
    sizes = (Option(change=way * size) for size in range(1, int(largest) + 1 + MOST_BESIDE_STAMP))
    return [
        option
        for option in sizes
        if all(0 < way * option.change_of(one) <= largest and option.pitch(one) > 0 for one in fitted)
    ]


def at_hand(
    view: JobView, fitted: Sequence[Fitted], way: int, largest: float, tried: Collection[str] = ()
) -> list[Option]:
    """The propellers of shop and boat that lie the right way and not too far [in].

    tried : names of those of the boat that were run
    """
    shelf = (Option(source=Source.SHELF, kept=one) for one in read_shelf(str(view.setting("prop_check.shelf"))))
    found = dict.fromkeys((*_on_board(view, fitted, tried), *shelf))  # of several alike on the shelf one is shown
    return [
        one
        for one in found
        if all(abs(one.change_of(each)) <= largest and one.is_the_way(each, way) for each in fitted)
    ]


def may_be_the_same(one: Kept, other: Propeller) -> bool:
    """Whether two propellers are of one size, as far as both are known."""
    stamp = other.pitch or other.working_pitch
    if stamp is None or abs(one.pitch - stamp.to("in")) > SAME_SIZE:
        return False
    if one.diameter and other.diameter and abs(one.diameter - other.diameter.to("in")) > SAME_SIZE:
        return False
    return all(not new or not old or new == old for new, old in ((one.blades, other.blades), (one.cup, other.cup)))


def _on_board(view: JobView, fitted: Sequence[Fitted], tried: Collection[str]) -> Iterator[Option]:
    """Propellers entered for a boat of one engine that nobody ran yet; on several engines one of them is too few."""
    if len(fitted) == 1:
        for one in view.vessel.propellers:
            if one.name not in (*tried, fitted[0].engine.fitted) and one.working_pitch:
                yield Option(source=Source.BOAT, kept=_kept(one))


def _kept(one: NamedPropeller) -> Kept:
    return Kept(
        diameter=one.diameter.to("in") if one.diameter else 0.0,
        pitch=one.working_pitch.to("in") if one.working_pitch else 0.0,
        blades=one.blades,
        material=one.material,
        cup=one.cup,
        name=one.name,
    )


def _is_of_another_series(one: Kept | Propeller, fitted: Propeller) -> bool:
    pairs = ((one.material, fitted.material), (one.blades, fitted.blades))
    return any(new and old and new != old for new, old in pairs)
