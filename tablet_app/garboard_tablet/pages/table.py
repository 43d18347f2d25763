"""Every page by its name, loaded when it is first shown: the first page must not wait for the others."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

from garboard_tablet.ui.shell import Page

FIRST = "vessels"
_PAGES: Mapping[str, str] = {
    "vessels": "vessels.VesselsPage",
    "new job": "vessels.NewJobPage",
    "like": "like.LikePage",
    "own facts": "like.OwnFactsPage",
    "keep template": "like.KeepTemplatePage",
    "vessel jobs": "vessels.VesselJobsPage",
    "job": "job.JobPage",
    "punch list": "job.PunchListPage",
    "add punch": "job.AddPunchPage",
    "equipment": "equipment.EquipmentPage",
    "kind": "equipment.KindPage",
    "add piece": "equipment.AddPiecePage",
    "piece": "equipment.PiecePage",
    "remove piece": "equipment.RemovePiecePage",
    "step": "step.StepPage",
    "rows": "rows.RowsPage",
    "cautions": "step.CautionsPage",
    "state": "step.StatePage",
    "trials": "trials.TrialsPage",
    "trial": "trials.TrialPage",
    "new trial": "trials.NewTrialPage",
    "each engine": "trials.EachEnginePage",
    "aside": "trials.AsidePage",
    "why": "why.WhyPage",
    "entry": "entry.EntryPage",
    "photos": "photo.PhotosPage",
    "photo": "photo.PhotoPage",
    "photo words": "photo.PhotoWordsPage",
    "photo back": "photo.PhotoBackPage",
    "live": "live.LivePage",
    "source": "live.SourcePage",
    "run": "recordings.RunPage",
    "recordings": "recordings.RecordingsPage",
    "network": "network.NetworkPage",
    "audit": "audit.AuditPage",
    "sensors": "sensors.SensorsPage",
    "sensor": "sensors.SensorPage",
    "where": "network.WherePage",
    "units": "settings.UnitsPage",
    "results": "results.ResultsPage",
    "hand over": "handover.HandOverPage",
    "covers": "handover.CoversPage",
    "signer": "handover.SignerPage",
    "signing": "handover.SigningPage",
    "book": "handover.BookPage",
    "ashore": "ashore.AshorePage",
    "pair": "ashore.PairPage",
    "settings": "settings.SettingsPage",
    "help": "settings.HelpPage",
    "backup": "backup.BackupPage",
    "shop settings": "shop_settings.ShopSettingsPage",
    "who": "settings.WhoPage",
    "meter": "settings.MeterPage",
}


def page_class(name: str) -> type[Page]:
    """The page of a name; the first page for a name this version does not know."""
    module, _, kind = _PAGES.get(name, _PAGES[FIRST]).partition(".")
    found: type[Page] = getattr(import_module(f"garboard_tablet.pages.{module}"), kind)
    return found
