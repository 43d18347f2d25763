"""Findings on circuits: one for every circuit that needs work, one for all that pass, one for all that lack data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from garboard.faults import in_number, in_words
from garboard.findings import (
    Basis,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Table,
    Verdict,
    not_enough_data,
    rounded,
)
from garboard.job_view import JobView
from garboard.labels import stale_labels
from garboard.record_types import frozen
from garboard_wiring_audit import bases
from garboard_wiring_audit.circuit_facts import facts_of
from garboard_wiring_audit.circuit_rules import (
    RULES,
    STRICTER_FIRST,
    CircuitResult,
    CircuitRule,
    NotCovered,
    as_thinner,
    size_in_doubt,
)
from garboard_wiring_audit.readings import has_been_read, read_yes
from garboard_wiring_audit.rules import Rules, rules_of
from garboard_wiring_audit.steps import CIRCUITS

NAMED_AT_MOST = 4
READ_FIRST = "Read the size printed on it before you rewire: its drop says that size or length is entered wrong."


@frozen
class Outcome:
    """What one rule says of all circuits, by the circuits' names in the vessel's order."""

    judged: dict[str, CircuitResult] = attrs.field(factory=dict)
    lacking: dict[str, tuple[Missing, ...]] = attrs.field(factory=dict)
    not_covered: dict[str, str] = attrs.field(factory=dict)


def outcome_of(view: JobView, rule: CircuitRule) -> Outcome:
    """Hold every circuit against a rule. Two rules that ask for one cure look at each other's outcome: ask `once`."""
    rules, outcome = rules_of(view), Outcome()
    for circuit in view.vessel.circuits:
        facts = view.once(facts_of, circuit, rules, weighs_current=rule.weighs_current)
        try:
            judged = rule.judge(view, facts, rules)
            sized = rule.resizes and judged.verdict is not Verdict.PASS and not facts.draws_too_much
            if sized and size_in_doubt(view, facts, rules):
                judged = attrs.evolve(judged, sentence=f"{READ_FIRST} {judged.sentence}")
            elif rule.resizes and judged.verdict is Verdict.PASS:
                judged = as_thinner(rule.judge, view, facts, rules, judged)
            outcome.judged[circuit.name] = judged
        except NotCovered as why:
            outcome.not_covered[circuit.name] = in_words(why)
        except NotEnoughData as lacking:
            outcome.lacking[circuit.name] = lacking.missing
    return outcome


def findings_on(rule: CircuitRule, view: JobView) -> Iterator[Finding]:
    """Findings of a rule."""
    rules = rules_of(view)
    outcome = view.once(outcome_of, rule)
    basis = rule.basis(rules)
    joined = _joined(rule, outcome, view, rules)
    for name, judged in (outcome.judged | joined).items():
        if judged.verdict is not Verdict.PASS and (name not in joined or not rule.joins):
            yield Finding(
                code=judged.code,
                verdict=judged.verdict,
                about=about(name),
                of=name,
                sentence=judged.told,
                numbers=judged.numbers,
                limits=judged.limits,
                basis=_merged(basis, judged),
                doubts=judged.doubts,
                places=tuple(_read_on(rule, view, [name])),
            )
    passed = [judged for judged in outcome.judged.values() if judged.verdict is Verdict.PASS]
    if passed:
        names = [name for name, judged in outcome.judged.items() if judged.verdict is Verdict.PASS]
        yield attrs.evolve(_passed(rule, outcome, basis, passed), places=tuple(_read_on(rule, view, names)))
    if outcome.lacking:
        yield not_enough(rule.title, outcome.lacking, basis)


def _read_on(rule: CircuitRule, view: JobView, circuits: Iterable[str]) -> Iterator[tuple[str, str, str, str]]:
    """The readings on circuits that a rule's result rests on; a doubt about another circuit is none of them."""
    for name in circuits:
        for field in rule.reads:
            if has_been_read(view, CIRCUITS, field, name):
                yield CIRCUITS, field, "", name


def _joined(rule: CircuitRule, outcome: Outcome, view: JobView, rules: Rules) -> dict[str, CircuitResult]:
    """Circuits on which this rule and its partner ask for the same cure, with both of what they say."""
    partner = next((each for each in RULES if rule.name == each.joins or rule.joins == each.name), None)
    if partner is None:
        return {}
    others = view.once(outcome_of, partner).judged
    return {
        name: attrs.evolve(judged.with_other(others[name]), basis=_merged(partner.basis(rules), judged, others[name]))
        for name, judged in outcome.judged.items()
        if name in others and Verdict.PASS not in (judged.verdict, others[name].verdict)
        if judged.cure is others[name].cure
    }


def about(circuit: str) -> str:
    """What findings on a circuit are about."""
    return f"circuit {circuit}"


def _merged(basis: tuple[Basis, ...], *judged: CircuitResult) -> tuple[Basis, ...]:
    return tuple(dict.fromkeys([*basis, *(each for one in judged for each in one.basis)]))


def _passed(rule: CircuitRule, outcome: Outcome, basis: tuple[Basis, ...], passed: list[CircuitResult]) -> Finding:
    rows = [(name, *judged.cells, judged.verdict.value) for name, judged in outcome.judged.items()]
    blank = ("",) * len(rule.headings)
    rows += [(name, *blank, why) for name, why in outcome.not_covered.items()]
    judged_count, lacking = len(outcome.judged), len(outcome.lacking)
    rest = judged_count - len(passed)
    return Finding(
        code=rule.passed_code,
        verdict=Verdict.PASS,
        about=rule.title,
        sentence=f"{len(passed)} of {judged_count + lacking} circuits {rule.passed}."
        + (f" See to {rest}." if rest and lacking else f" See to the other {rest}." if rest else "")
        + (f" Of {lacking} too little is known." if lacking else ""),
        numbers=(
            Number("circuits passed", len(passed), decimals=0),
            Number("circuits checked", judged_count, decimals=0),
        ),
        tables=(Table(rule.title, ("Circuit", *rule.headings, "Verdict"), tuple(rows)),),
        basis=_merged(basis, *passed),
    )


def not_enough(title: str, lacking: dict[str, tuple[Missing, ...]], basis: tuple[Basis, ...]) -> Finding:
    """One finding for all circuits a rule could not judge, with what each lacks."""
    count = f"{len(lacking)} circuit" + ("s" if len(lacking) != 1 else "")
    missing = [attrs.evolve(one, of=one.of or name) for name, found in lacking.items() for one in found]
    return attrs.evolve(
        not_enough_data(title, missing, basis),
        sentence=f"Not enough data for {count}: {_named(lacking)}. Enter what is missing and assess again.",
        short="",
        tables=(
            Table(
                f"{title}: what is missing",
                ("Circuit", "Missing"),
                tuple((name, _in_words(found)) for name, found in lacking.items()),
            ),
        ),
    )


def _in_words(missing: tuple[Missing, ...]) -> str:
    return "; ".join(dict.fromkeys(one.text for one in missing))


def _named(lacking: dict[str, tuple[Missing, ...]]) -> str:
    if len(lacking) > NAMED_AT_MOST:
        reasons = {_in_words(missing) for missing in lacking.values()}
        of_all = f" ({reasons.pop()})" if len(reasons) == 1 else ""
        return f"{', '.join(list(lacking)[:NAMED_AT_MOST])} and {len(lacking) - NAMED_AT_MOST} more{of_all}"
    return ", ".join(f"{name} ({_in_words(missing)})" for name, missing in lacking.items())


@frozen
class Labels:
    """Circuits that carry a label, those that do not, and those nobody looked at, by name."""

    labelled: tuple[str, ...]
    bare: tuple[str, ...]
    lacking: dict[str, tuple[Missing, ...]]
    least: float

    @property
    def share(self) -> float:
        """Share of those looked at that carry one, 0 to 1; all where none was looked at."""
        looked_at = len(self.labelled) + len(self.bare)
        return len(self.labelled) / looked_at if looked_at else 1.0

    @property
    def on_bare(self) -> Verdict:
        """The verdict on a circuit without a label: the shop may let a few pass with advice."""
        return Verdict.ADVISE if self.share >= self.least else Verdict.FAIL


def labels_of(view: JobView) -> Labels:
    """Which circuits carry a label."""
    answers: dict[bool, list[str]] = {True: [], False: []}
    lacking: dict[str, tuple[Missing, ...]] = {}
    for circuit in view.vessel.circuits:
        try:
            answers[read_yes(view, CIRCUITS, "label_present", circuit.name)].append(circuit.name)
        except NotEnoughData as unanswered:
            lacking[circuit.name] = unanswered.missing
    return Labels(tuple(answers[True]), tuple(answers[False]), lacking, rules_of(view).share("labelled"))


def label_findings(view: JobView) -> Iterator[Finding]:
    """Share of circuits that carry a label; names those that do not."""
    if not view.vessel.circuits:
        raise NotEnoughData(
            "no circuits are entered; add the vessel's circuits", lack=Lack.NOT_ENTERED, field="circuits"
        )
    labels = labels_of(view)
    yield from _stale_labels(view)
    percent = labels.share * 100
    counted = f"{len(labels.labelled)} of {in_number(len(view.vessel.circuits), 'circuit')} labelled"
    if labels.bare or not labels.lacking:
        open_ones = f", {len(labels.lacking)} not known" if labels.lacking else f" ({rounded(percent, 0)} %)"
        yield Finding(
            code="wiring_audit.labels.unlabelled" if labels.bare else "wiring_audit.labels.all_labelled",
            verdict=labels.on_bare if labels.bare else Verdict.PASS,
            about="Labels",
            sentence=f"{counted}{open_ones}." + (f" Label {', '.join(labels.bare)}." if labels.bare else ""),
            numbers=(Number("labelled", percent, "%", decimals=0),),
            limits=(Limit("labelled", low=labels.least * 100),),
            basis=(bases.LABELS,),
        )
    if labels.lacking:
        lacking = not_enough("Labels", labels.lacking, (bases.LABELS,))
        yield lacking if labels.bare else attrs.evolve(lacking, sentence=f"{counted}. {lacking.sentence}")


def _stale_labels(view: JobView) -> Iterator[Finding]:
    """The labels that were printed before their circuit was changed."""
    if stale := stale_labels(view.vessel):
        words = " ".join(f'That of {one.name} says "{one.printed}", and now is "{one.text}".' for one in stale[:3])
        more = f" So do {len(stale) - 3} more." if len(stale) > 3 else ""
        yield Finding(
            code="wiring_audit.labels.stale",
            verdict=Verdict.ADVISE,
            about="Printed labels",
            sentence=f"Print {in_number(len(stale), 'label')} anew. {words}{more}",
            numbers=(Number("stale labels", len(stale), "", decimals=0),),
            basis=(bases.LABELS,),
        )


def verdicts_of(view: JobView) -> dict[str, Verdict]:
    """The strictest verdict on each circuit, its label among them; a circuit no rule covers is judged by its label."""
    labels = labels_of(view)
    verdicts: dict[str, list[Verdict]] = {name: [Verdict.PASS] for name in labels.labelled}
    verdicts |= {name: [labels.on_bare] for name in labels.bare}
    verdicts |= {name: [Verdict.NOT_ENOUGH_DATA] for name in labels.lacking}
    for rule in RULES:
        outcome = view.once(outcome_of, rule)
        for name, judged in outcome.judged.items():
            verdicts[name].append(judged.verdict)
        for name in outcome.lacking:
            verdicts[name].append(Verdict.NOT_ENOUGH_DATA)
    return {name: min(found, key=STRICTER_FIRST.index) for name, found in verdicts.items()}
