"""Called by python-for-android once it has rendered the manifest: puts in what its template has no place for."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

ANDROID = "http://schemas.android.com/apk/res/android"
PARTS = Path(__file__).with_name("application_parts.xml")
MANIFESTS = ("src/main/AndroidManifest.xml", "AndroidManifest.xml")


def with_parts(manifest: str, parts: str) -> str:
    """A manifest with every part inside its application, once, however often this is done.

    errors : ValueError for a manifest without an application
    """
    ElementTree.register_namespace("android", ANDROID)
    root = ElementTree.fromstring(manifest)
    application = root.find("application")
    if application is None:
        raise ValueError("the manifest has no <application>: the packager's template has changed")
    name = f"{{{ANDROID}}}name"
    for part in ElementTree.fromstring(parts):
        for former in [one for one in application.findall(part.tag) if one.get(name) == part.get(name)]:
            application.remove(former)
        application.append(part)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=True)


def after_apk_build(_toolchain: object) -> None:
    """The name is the packager's: it is called in the folder where the manifest was rendered, before it is compiled."""
    for path in map(Path, MANIFESTS):
        if path.exists():
            path.write_text(with_parts(path.read_text(encoding="utf-8"), PARTS.read_text(encoding="utf-8")), "utf-8")
