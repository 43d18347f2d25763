"""Which system this is."""

from __future__ import annotations

import os

from garboard_tablet.system.services import DeskServices, Services


def services_of_this_machine() -> Services:
    """Android's where the app runs on it. pyjnius is imported nowhere else."""
    if "ANDROID_ARGUMENT" not in os.environ:
        return DeskServices()
    from garboard_tablet.system.android_services import AndroidServices

    return AndroidServices()
