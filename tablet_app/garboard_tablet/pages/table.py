"""Every page by its name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from garboard_tablet.pages import entry, equipment, handover, job, live, results, settings, step, vessels
from garboard_tablet.ui.shell import Page

PAGES: Mapping[str, Callable[[Any, Any], Page]] = {
    "vessels": vessels.VesselsPage,
    "new job": vessels.NewJobPage,
    "vessel jobs": vessels.VesselJobsPage,
    "job": job.JobPage,
    "punch list": job.PunchListPage,
    "add punch": job.AddPunchPage,
    "equipment": equipment.EquipmentPage,
    "kind": equipment.KindPage,
    "add piece": equipment.AddPiecePage,
    "piece": equipment.PiecePage,
    "remove piece": equipment.RemovePiecePage,
    "step": step.StepPage,
    "cautions": step.CautionsPage,
    "state": step.StatePage,
    "why": step.WhyPage,
    "entry": entry.EntryPage,
    "live": live.LivePage,
    "results": results.ResultsPage,
    "hand over": handover.HandOverPage,
    "missing": handover.MissingPage,
    "covers": handover.CoversPage,
    "signer": handover.SignerPage,
    "signing": handover.SigningPage,
    "book": handover.BookPage,
    "settings": settings.SettingsPage,
    "who": settings.WhoPage,
}
