"""The texts of law the engine trial speaks of, as data: what each says in short, where it holds, and if it was read.

One that was read may fail a boat. One that is from memory only advises, and says that the law itself decides.
"""

from __future__ import annotations

from garboard.findings import Basis, BasisKind
from garboard.record_types import frozen
from garboard_engine_trial.bases import practice


@frozen(kw_only=True)
class LawText:
    """One text of law.

    section  : where it stands
    says     : what it asks, in short and in our words
    bounds   : where and of what boats it holds, as people are told
    was_read : whether its words were read; else it is from memory
    """

    section: str
    says: str
    bounds: str
    was_read: bool

    @property
    def basis(self) -> Basis:
        """What a finding rests on: the regulation where it was read, else common practice."""
        if self.was_read:
            return Basis(BasisKind.REGULATION, self.section, self.bounds)
        return practice(self.says, f"{self.section} and the law where the boat is used decide")


START_IN_GEAR = LawText(
    section="33 CFR 183.710",
    says="an outboard does not start while its controls are set to give that thrust",
    bounds="United States, outboards of 115 lb static thrust or more; a dealer who installs one is named in it",
    was_read=True,
)
CUT_OFF = LawText(
    section="46 U.S.C. 4312",
    says="who installs engine and controls fits a cut-off switch and its link; who drives on plane wears the link",
    bounds="United States, boats under 26 ft with 115 lb static thrust or more; trying it is common practice",
    was_read=True,
)
PERSONS = LawText(
    section="33 CFR 183.41(b)",
    says="persons on the label: their weight and 32 lb, divided by 141 lb, to the nearest whole; a half goes up",
    bounds="United States, monohull outboard boats under 20 ft; here it only shows a label misread",
    was_read=True,
)
FLOTATION = LawText(
    section="33 CFR 175.15(a) and (b)",
    says="a life jacket to wear for each person, and from 16 ft one throwable besides",
    bounds="United States, recreational vessels; others differ",
    was_read=True,
)
OPEN_BOAT = LawText(
    section="33 CFR 175.320(a)(1)",
    says="no extinguisher under 26 ft where no gases or vapours can gather",
    bounds="United States, outboards under 26 ft",
    was_read=True,
)
EXTINGUISHERS = LawText(
    section="33 CFR 175.320, table 1",
    says="one extinguisher under 26 ft, two under 40 ft, three up to 65 ft",
    bounds="United States, recreational vessels",
    was_read=False,
)
SIGNALS = LawText(
    section="33 CFR 175.110",
    says="on coastal waters distress signals for day and night from 16 ft, and for the night under 16 ft",
    bounds="United States, coastal waters and the Great Lakes",
    was_read=False,
)
TEXTS = (START_IN_GEAR, CUT_OFF, PERSONS, FLOTATION, OPEN_BOAT, EXTINGUISHERS, SIGNALS)
