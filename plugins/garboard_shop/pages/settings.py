"""The shop's settings on the pages: what holds, who set it, what it was, and what a change would do."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import attrs

from garboard.disk.entries import SHOP_RECORD, Entry, view
from garboard.disk.storage import NewerFormat
from garboard.faults import Fault, InputError, ValueRefused, in_words
from garboard.fields import check_value
from garboard.findings import Verdict
from garboard.history.past import PastEntry, history_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import setting_register, shop_settings
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.report.as_typed import as_typed
from garboard.settings import (
    DEFAULT,
    SHOP,
    Setting,
    SettingSet,
    SettingUsed,
    binding,
    check_pairs,
    in_force,
    refuse_looser,
)
from garboard.steps import Assessed
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.summaries import seen_in
from garboard_shop.pages.wording import day_to_come
from garboard_shop.store import Store, managers_devices

LONGEST_LOOK = 8.0
"""After so long the boats not looked at yet are counted instead [s]."""


@attrs.frozen(kw_only=True)
class ShownSetting:
    """One setting of the shop.

    value : what holds
    used  : what to say where it is not simply at its default
    set   : what somebody set, whether it can be used or not
    """

    setting: Setting
    plugin: str
    value: JsonValue
    used: SettingUsed | None
    set: tuple[SettingSet, ...]

    @property
    def is_default(self) -> bool:
        """Whether the default holds, and nothing is open about it but values that are not used."""
        return self.used is None or self.used.state == DEFAULT


def record_of(store: Store) -> HullState:
    """The shop's own record."""
    return replay(SHOP_RECORD, _entries(store))


def _entries(store: Store) -> list[Entry]:
    return [view(name, raw) for name, raw in store.get(SHOP_RECORD, store.ids(SHOP_RECORD)).items()]


def shown_settings(desk: ShopDesk) -> tuple[ShownSetting, ...]:
    """Every setting: those not at their default first, then those with a value not used, then by plugin and title."""
    host = desk.host
    stated = shop_settings(_entries(desk.store), managers_devices(desk.store.register))
    values, used = in_force(host.settings, stated)
    titles = {plugin.name: plugin.title for plugin in host.plugins}
    shown = (
        ShownSetting(
            setting=setting,
            plugin=titles[host.owner_of("register_settings", setting.key)],
            value=values[setting.key],
            used=used.get(setting.key),
            set=tuple(one for one in stated if one.key == setting.key),
        )
        for setting in host.settings
    )
    return tuple(sorted(shown, key=lambda one: (one.is_default, one.used is None, one.plugin, one.setting.field.title)))


def shown_setting(desk: ShopDesk, key: str) -> ShownSetting | None:
    """One setting; None for a key no plugin here declares."""
    return next((one for one in shown_settings(desk) if one.setting.key == key), None)


def history(record: HullState, key: str) -> tuple[PastEntry, ...]:
    """Everything ever set, the latest first."""
    register = setting_register(key)
    return history_of(record, register)[::-1] if register in record.registers else ()


def saw(record: HullState, key: str) -> str:
    """Names what stands, so that a value that comes meanwhile is not passed over unseen."""
    return seen_in(record, setting_register(key))


def typed(setting: Setting, form: Mapping[str, str]) -> JsonValue:
    """The value of a form. Raises InputError, in words, for one that cannot be used."""
    if setting.is_picture:
        raise InputError("settings", [Fault(setting.field.title, "a picture, as a file", "text")])
    value = setting.typed(form.get("value", "").replace("\r\n", "\n"))  # as forms send lines
    check(setting, value)
    return value


def picture_sent(setting: Setting, content: bytes) -> str:
    """A file that was sent, as the text the setting holds. Raises InputError, in words, for one that cannot be used."""
    from garboard.report.logo import LogoRefused, logo_as_kept

    if not setting.is_picture:
        raise InputError("settings", [Fault(setting.field.title, setting.allowed, "a picture")])
    try:
        return logo_as_kept(content)
    except LogoRefused as refused:
        fault = Fault(setting.field.title, "a picture that can be printed", cure=in_words(refused))
        raise InputError("settings", [fault]) from None


def check(
    setting: Setting,
    value: JsonValue,
    declared: Sequence[Setting] = (),
    values: Mapping[str, JsonValue] | None = None,
) -> None:
    """Raise InputError, in words, for a value that cannot be used.

    values : what would hold of all that is declared, where its pairs are checked, too
    """
    try:
        check_value(setting.field, value)
        refuse_looser(declared, value, setting.key)
        check_pairs(declared, values or {}, setting.key)
    except ValueRefused as refused:
        raise InputError("settings", [refused.at(setting.field.title)]) from None


def value_wanted(desk: ShopDesk, setting: Setting, form: Mapping[str, str]) -> JsonValue:
    """The value a form sets for the shop, the default where it takes back what is set.

    Raises InputError, in words, for one that cannot be used beside the shop's others.
    """
    value = setting.default if form.get("reset") else typed(setting, form)
    stated = shop_settings(_entries(desk.store), managers_devices(desk.store.register))
    values, _ = in_force(desk.host.settings, stated)
    check(setting, value, desk.host.settings, {**values, setting.key: value})
    return value


@attrs.frozen(kw_only=True)
class ChangedFinding:
    """What a check of an open job finds now, and would find after a change, a line for each finding that differs.

    only_figures : whether the verdicts and what is advised stay
    """

    title: str
    about: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    only_figures: bool


@attrs.frozen(kw_only=True)
class ChangedJob:
    """An open job of which a change would alter a finding."""

    hull: str
    number: str
    name: str
    job: str
    job_name: str
    findings: tuple[ChangedFinding, ...]

    @property
    def only_figures(self) -> bool:
        """Whether no verdict and no advice changes."""
        return all(found.only_figures for found in self.findings)


@attrs.frozen(kw_only=True)
class Effect:
    """What a change would do.

    jobs      : those of which a finding would change
    open_jobs : how many open jobs were looked at
    left_out  : how many boats there was no time for, or that cannot be read
    """

    jobs: tuple[ChangedJob, ...]
    open_jobs: int
    left_out: int


def effect_of(desk: ShopDesk, setting: Setting, value: JsonValue) -> Effect:
    """Which findings of open jobs would change in verdict, code, sentence or numbers.

    The jobs worked on last are looked at first.
    A job its technician signed keeps what it was signed under, so it is not among them.
    """
    began = time.monotonic()
    found: list[ChangedJob] = []
    seen, jobs_seen = set[str](), set[str]()
    open_jobs = left_out = 0
    for hull in _lately_worked_on_first(desk):
        if hull in seen:
            continue
        if time.monotonic() - began > LONGEST_LOOK:
            left_out += 1
            continue
        try:
            summary = desk.summaries.of(hull)
        except (NewerFormat, InputError):
            left_out += 1
            continue
        if summary is None:
            continue
        seen |= summary.boat.state.hull_keys
        for job in summary.jobs:
            if binding(job.view.signed_under, setting.key) or job.id in jobs_seen:
                continue
            jobs_seen.add(job.id)
            open_jobs += 1
            view = _with(job.view, setting, value)
            after = as_typed(view, desk.host.assess(view, None, job.before), desk.host)
            if findings := tuple(_changed(desk.host, job.assessed, after)):
                found.append(
                    ChangedJob(
                        hull=summary.key,
                        number=summary.number,
                        name=summary.name,
                        job=job.id,
                        job_name=summary.job_name(job.id),
                        findings=findings,
                    )
                )
    return Effect(jobs=tuple(found), open_jobs=open_jobs, left_out=left_out)


def _lately_worked_on_first(desk: ShopDesk) -> Sequence[str]:
    to_come = day_to_come(desk.now())

    def last_day(hull: str) -> str:
        card = desk.index.card(hull)
        return card.last_day(to_come) if card else ""

    return sorted(sorted(desk.index.boats()), key=last_day, reverse=True)


def _changed(
    host: PluginHost, assessed: Sequence[Assessed], assessed_then: Sequence[Assessed]
) -> Iterator[ChangedFinding]:
    before, after = _read(assessed), _read(assessed_then)
    titles = {calculator.key: calculator.title for calculator in host.calculators}
    for place in dict.fromkeys((*before, *after)):
        now, then = before.get(place, Counter()), after.get(place, Counter())
        if now != then:
            calculator, about = place
            yield ChangedFinding(
                title=titles[calculator],
                about=about,
                before=_lines(now - then, then - now),
                after=_lines(then - now, now - then),
                only_figures=_acted_on(now) == _acted_on(then),
            )


@attrs.frozen
class _Read:
    """What people and programs read of a finding."""

    code: str
    verdict: str
    sentence: str
    numbers: tuple[str, ...]


def _read(assessed: Sequence[Assessed]) -> dict[tuple[str, str], Counter[_Read]]:
    """What is read of the findings of each check about each thing."""
    found: dict[tuple[str, str], Counter[_Read]] = {}
    for one in assessed:
        finding = one.finding
        numbers = tuple(f"{number.name} {number}" for number in finding.numbers)
        read = _Read(finding.code, finding.verdict.value, finding.sentence, numbers)
        found.setdefault((one.calculator, finding.about), Counter())[read] += 1
    return found


def _acted_on(found: Counter[_Read]) -> list[tuple[str, str]]:
    """What a person acts on: every verdict, and the sentences of those that advise or fail."""
    advising = (Verdict.ADVISE.value, Verdict.FAIL.value)
    return sorted((one.verdict, one.sentence if one.verdict in advising else "") for one in found.elements())


def _lines(found: Counter[_Read], other: Counter[_Read]) -> tuple[str, ...]:
    """A line for each finding; where the other side reads alike, with what tells the two apart."""
    return tuple(sorted(_line(one, [two for two in other if _alike(one, two)]) for one in found.elements()))


def _alike(one: _Read, two: _Read) -> bool:
    return (one.verdict, one.sentence) == (two.verdict, two.sentence)


def _line(one: _Read, alike: Sequence[_Read]) -> str:
    line = f"{one.verdict}: {one.sentence}"
    if not alike:
        return line
    others = {number for two in alike for number in two.numbers}
    return f"{line} ({', '.join(number for number in one.numbers if number not in others) or one.code})"


def _with(view: JobView, setting: Setting, value: JsonValue) -> JobView:
    """The job as it would be with one of the shop's settings at another value."""
    others = tuple(one for one in view.settings_set if one.source != SHOP or one.key != setting.key)
    return attrs.evolve(view, settings_set=(*others, SettingSet(key=setting.key, value=value, source=SHOP)))
