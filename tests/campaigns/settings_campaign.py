"""Random settings over every sample job: wherever a job is judged, it is judged the same.

For each sample and each draw of settings the job is judged from its file, from a folder it was taken into, as it is
exported from there, by the command, by the tablet's assessor, by the shop's page, and by what the book is made of. Once
the settings are the job's own, once the shop's. Every judgement must have the same codes and verdicts as the file.

Run:  python tests/campaigns/settings_campaign.py --draws 200
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.disk.hullfile import HullFolder
from garboard.faults import ValueRefused
from garboard.fields import Kind
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import job_file_text, read_job_file
from garboard.judging.assessing import assess_hulls, assess_job_file, assess_one
from garboard.records import JsonValue
from garboard.settings import Setting, check_pairs
from garboard.steps import Assessed
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages.summaries import make_summary
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import open_tablet
from setting_jobs import OFFICE, SAMPLES, set_for_shop

SEED = 20260514
MOST_AT_ONCE = 60
"""So many settings at most are not at their default in a draw."""
Settings = dict[str, JsonValue]
Verdicts = list[tuple[str, str, str]]


def drawn(setting: Setting, draw: random.Random) -> JsonValue:
    """A value the setting allows."""
    if setting.field.kind is Kind.CHOICE:
        return draw.choice(setting.field.choices)
    if setting.field.kind is Kind.YES_NO:
        return draw.choice((True, False))
    low, high = setting.field.hard or (0.0, 0.0)
    if setting.field.kind is Kind.COUNT:
        return draw.randint(int(low), int(high))
    return f"{draw.uniform(low, high):.3g} {setting.field.unit}".strip()


def random_settings(host: PluginHost, draw: random.Random) -> Settings:
    """A few settings at values drawn at random.

    One that rounding took out of its range is left out, and one that would turn a pair's ends the wrong way round.
    """
    chosen = draw.sample(host.settings, draw.randint(1, MOST_AT_ONCE))
    values = {setting.key: drawn(setting, draw) for setting in chosen}
    holding: Settings = {setting.key: setting.default for setting in host.settings}
    kept: Settings = {}
    for setting in chosen:
        key = setting.key
        if setting.takes(values[key]) and _fits(host, {**holding, **kept, key: values[key]}, key):
            kept[key] = values[key]
    return kept


def _fits(host: PluginHost, values: Settings, key: str) -> bool:
    try:
        check_pairs(host.settings, values, key)
    except ValueRefused:
        return False
    return True


def verdicts(assessed: Sequence[Assessed]) -> Verdicts:
    return [(one.calculator, one.finding.code, one.finding.verdict.value) for one in assessed]


def as_the_jobs_own(sample: Path, settings: Settings, where: Path, host: PluginHost) -> Iterator[tuple[str, Verdicts]]:
    """Judgements of a job file that states the settings: first the file's."""
    yield from _judged(sample, settings, {}, where, host)


def as_the_shops(sample: Path, settings: Settings, where: Path, host: PluginHost) -> Iterator[tuple[str, Verdicts]]:
    """Judgements of a job nobody signed, in a shop with the settings: first that of a file that states them."""
    yield from _judged(sample, {}, settings, where, host)


def _judged(
    sample: Path, own: Settings, shops: Settings, where: Path, host: PluginHost
) -> Iterator[tuple[str, Verdicts]]:
    job_file = read_job_file(sample)
    job_file = attrs.evolve(job_file, settings=own) if own else attrs.evolve(job_file, sign_offs=())
    stating = where / "job"
    shutil.copytree(sample.parent, stating)
    text = job_file_text(attrs.evolve(job_file, settings={**own, **shops}))
    (stating / sample.name).write_text(text, encoding="utf-8")
    yield "file", verdicts(assess_job_file(stating / sample.name, host).assessed)

    folder = where / "shop"
    with HullFolder(folder) as hulls:
        hull, _ = import_job(hulls, job_file, sample.parent, OFFICE)
        set_for_shop(hulls, shops)
        boat = open_hull(hulls, hull)
        (job,) = boat.jobs
        exported = export_job(hulls, boat, job, where / "out", host.settings)
    (found,) = assess_hulls(folder, host)
    yield "import", verdicts(found.assessed)
    yield "export", verdicts(assess_job_file(exported, host).assessed)
    with HullFolder(where / "elsewhere") as hulls:
        import_job(hulls, read_job_file(exported), exported.parent, OFFICE)
    yield "import of the export", verdicts(assess_one(where / "elsewhere", host).assessed)
    yield "tablet", verdicts(_on_a_tablet(folder, hull, job, host))
    store = EmbeddedStore(folder)
    try:
        (of_page,) = make_summary(store, host, hull).jobs
    finally:
        store.close()
    yield "page", verdicts(of_page.assessed)
    yield "book", verdicts(host.assess(of_page.view))


def _on_a_tablet(folder: Path, hull: str, job: str, host: PluginHost) -> tuple[Assessed, ...]:
    tablet = open_tablet(folder, lambda: host)
    tablet._host = host  # loading it would freeze what is alive now, once for each of thousands of tablets
    try:
        background = Background(lambda work, _after=0.0: work(), lambda _what, _failure: None, threads=False)
        return Assessor(tablet, background, lambda _key: None).now(Route(page="job", hull=hull, job=job))
    finally:
        tablet.close()


@attrs.define
class Tally:
    """What was counted."""

    jobs: int = 0
    judgements: int = 0
    changed: int = 0
    different: list[str] = attrs.field(factory=list)

    def __str__(self) -> str:
        return (
            f"{self.jobs} jobs with random settings, {self.judgements} judgements: {self.changed} jobs judged "
            f"otherwise than at the defaults, {len(self.different)} judgements that differ (seed {SEED})"
        )


def campaign(host: PluginHost, samples: Sequence[Path], draws: int, *, in_turn: bool = False) -> Tally:
    """Judge every sample under so many draws of settings.

    in_turn : each draw is for one sample, the next draw for the next one
    """
    tally = Tally()
    plain: Mapping[Path, Verdicts] = {path: verdicts(assess_job_file(path, host).assessed) for path in samples}
    for number in range(draws):
        settings = random_settings(host, random.Random(SEED + number))
        for sample in [samples[number % len(samples)]] if in_turn else samples:
            for way in (as_the_jobs_own, as_the_shops):
                with tempfile.TemporaryDirectory() as where:
                    (_, by_file), *others = way(sample, settings, Path(where), host)
                tally.jobs += 1
                tally.judgements += 1 + len(others)
                tally.changed += by_file != plain[sample]
                tally.different += [
                    f"{name}, {way.__name__}, {sample.parent.name}, draw {number}"
                    for name, found in others
                    if found != by_file
                ]
    return tally


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--draws", type=int, default=20, help="sets of settings for each sample")
    options.add_argument("--in-turn", action="store_true", help="each draw for one sample, the next for the next one")
    chosen = options.parse_args()
    tally = campaign(make_host(entry_points=False), SAMPLES, chosen.draws, in_turn=chosen.in_turn)
    print(tally)
    print("\n".join(tally.different))
    return int(bool(tally.different) or not tally.changed)


if __name__ == "__main__":
    sys.exit(main())
