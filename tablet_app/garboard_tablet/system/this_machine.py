"""Which system this is."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from garboard_tablet.system.services import DeskServices, Services

if TYPE_CHECKING:
    from garboard_tablet.models.background import Later
    from garboard_tablet.system.files import Files


def services_of_this_machine() -> Services:
    """Android's where the app runs on it. pyjnius is imported in this room alone."""
    if not _is_android():
        return DeskServices()
    from garboard_tablet.system.android_services import AndroidServices

    return AndroidServices()


def files_of_this_machine(later: Later) -> Files:
    """How files come in and go out here.

    later : hands work to the drawing thread
    """
    if _is_android():
        from garboard_tablet.system.android_files import AndroidFiles

        return AndroidFiles(later)
    from garboard_tablet.system.desk_files import DeskFiles

    return DeskFiles(later)


def _is_android() -> bool:
    return "ANDROID_ARGUMENT" in os.environ
