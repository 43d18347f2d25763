"""Android's services through pyjnius. Imported on Android alone; it has not run on a device.

Names of classes, methods and constants are those of Android's reference; `RunService` is the app's own, in
`tablet_app/java`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from jnius import autoclass

from garboard_tablet.system.services import Battery, DeskServices

OWN_SERVICE = "org.garboard.tablet.RunService"
_PLUGGED, _LEVEL, _SCALE = "plugged", "level", "scale"
_ASKS_FOR_NOTICES = 33
"""From this Android on, notices are shown only where the person has agreed."""


class AndroidServices(DeskServices):
    """What a desk does is done as there, where Kivy does it for both."""

    def __init__(self) -> None:
        self._activity: Any = autoclass("org.kivy.android.PythonActivity").mActivity
        self._multicast: Any = None
        self._has_asked = False

    def data_folder(self) -> Path:
        return Path(self._activity.getFilesDir().getAbsolutePath())

    def hear_groups(self, *, on: bool) -> None:
        if self._multicast is None:
            wifi = self._activity.getApplicationContext().getSystemService("wifi")
            self._multicast = wifi.createMulticastLock("garboard")
            self._multicast.setReferenceCounted(False)
        if on:
            self._multicast.acquire()
        elif self._multicast.isHeld():
            self._multicast.release()

    def record_out_of_sight(self, *, on: bool) -> None:
        service = autoclass(OWN_SERVICE)
        if on:
            self._ask_for_notices()
            service.begin(self._activity)
        else:
            service.end(self._activity)

    def _ask_for_notices(self) -> None:
        """Ask once that the notice of a run may be shown; the run is recorded whatever the answer is."""
        if not self._has_asked and autoclass("android.os.Build$VERSION").SDK_INT >= _ASKS_FOR_NOTICES:
            from android.permissions import Permission, request_permissions

            self._has_asked = True
            request_permissions([Permission.POST_NOTIFICATIONS])

    def battery(self) -> Battery | None:
        changed = autoclass("android.content.Intent").ACTION_BATTERY_CHANGED
        told = self._activity.registerReceiver(None, autoclass("android.content.IntentFilter")(changed))
        if told is None or told.getIntExtra(_SCALE, 0) <= 0:
            return None
        share = told.getIntExtra(_LEVEL, 0) / told.getIntExtra(_SCALE, 100)
        return Battery(share, is_charging=told.getIntExtra(_PLUGGED, 0) != 0)

    def font_scale(self) -> float:
        return float(self._activity.getResources().getConfiguration().fontScale)

    def languages(self) -> Sequence[str]:
        return [str(autoclass("java.util.Locale").getDefault().toString())]

    def step_back(self) -> bool:
        return bool(self._activity.moveTaskToBack(True))
