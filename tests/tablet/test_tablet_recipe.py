"""The recipe of the Android package, as far as it can be held against something without building it.

Two things come from outside: the packager's own template and recipes (`.ci/run` downloads them to `.ci/packager`), and
Debian's aapt with its framework package. That framework is Android 10's (API 29), which is the limit of the proof: it
does not know what is newer. The tests that need either are skipped where it is missing.
"""

from __future__ import annotations

import configparser
import importlib.util
import json
import re
import shutil
import subprocess
import sys
import tomllib
import types
import zipfile
from collections.abc import Iterable, Mapping
from importlib.metadata import distribution
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import garboard
from garboard_tablet.models.data_folder import NAME
from parts_list import tree

ROOT = Path(garboard.__file__).parents[2]
PACKAGE = ROOT / "tablet_app" / "package"
FRAMEWORK = Path("/usr/share/android-framework-res/framework-res.apk")
WHEELS = tuple((ROOT / ".ci" / "packager").glob("python_for_android-*.whl"))
ON_A_TABLET_ALONE = ("python3", "android", "pyjnius", "plyer")
TOO_NEW_FOR_29 = "dataExtractionRules"
"""An attribute of Android 12: the framework at hand does not know it."""

has_packager = pytest.mark.skipif(not WHEELS, reason="needs the packager in .ci/packager, as .ci/run fetches it")
has_aapt = pytest.mark.skipif(not (shutil.which("aapt") and FRAMEWORK.exists()), reason="needs Debian's aapt")


def recipe() -> Mapping[str, Mapping[str, str]]:
    return tomllib.loads((PACKAGE / "recipes.toml").read_text())


def spec() -> Mapping[str, str]:
    parser = configparser.ConfigParser(interpolation=None)
    parser.read(PACKAGE / "buildozer.spec")
    return dict(parser["app"])


def stands_on() -> set[str]:
    """Everything that `garboard[tablet]` brings, as pyproject.toml asks for it now."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = map(Requirement, (*project["dependencies"], *project["optional-dependencies"]["tablet"]))
    return {name for one in asked for name in tree(canonicalize_name(one.name), frozenset())}


def unpackaged(names: Iterable[str], listed: Mapping[str, Mapping[str, str]]) -> list[str]:
    """What neither is pure Python, nor has a recipe, nor a wheel for any system."""
    known = {canonicalize_name(name) for kind in ("recipe", "pure_wheel") for name in listed[kind]}
    return sorted(name for name in names if name not in known and not is_pure(name))


def is_pure(name: str) -> bool:
    """As the installed distribution says [PEP 427], and no file of it is compiled."""
    found = distribution(name)
    compiled = any(file.suffix in (".so", ".pyd", ".dll", ".dylib") for file in found.files or ())
    return "Root-Is-Purelib: true" in (found.read_text("WHEEL") or "") and not compiled


def test_all_the_tablet_stands_on_can_be_packaged() -> None:
    names = stands_on()
    assert {"attrs", "kivy", "tinydb", "websockets"} <= names
    assert unpackaged({*names, *ON_A_TABLET_ALONE}, recipe()) == []


def test_what_cannot_be_packaged_is_named() -> None:
    """A distribution with compiled parts that nobody listed; and one that was taken from the list."""
    listed = {kind: dict(names) for kind, names in recipe().items()}
    del listed["recipe"]["kivy"]
    assert unpackaged({*stands_on(), "numpy"}, listed) == ["kivy", "numpy"]


def test_the_tablet_needs_no_numpy() -> None:
    assert {"numpy", "scipy", "pandas"} & stands_on() == set()
    assert not re.search(r"\b(numpy|scipy)\b", spec()["requirements"])


def test_the_recipe_asks_for_all_of_it_and_for_nothing_else() -> None:
    """Beside it: Python, what reaches the system, and the voice."""
    asked = {canonicalize_name(Requirement(one).name) for one in spec()["requirements"].split(",")}
    assert asked == {*stands_on(), *ON_A_TABLET_ALONE}
    assert str(Requirement("kivy==2.3.1")) in spec()["requirements"].split(",")


def test_every_permission_has_a_reason_and_backups_are_off() -> None:
    text = (PACKAGE / "buildozer.spec").read_text()
    for permission in spec()["android.permissions"].split(","):
        assert re.search(rf"^#   {permission} +\w+", text, re.MULTILINE), permission
    assert spec()["android.allow_backup"] == "False"
    rules = ElementTree.parse(PACKAGE / "res_xml" / "data_extraction_rules.xml").getroot()
    domains = {"root", "file", "database", "sharedpref", "external"}
    assert {kind.tag: {one.get("domain") for one in kind} for kind in rules} == {
        "cloud-backup": domains,
        "device-transfer": domains,
    }


def test_every_file_the_recipe_names_is_there() -> None:
    for key in ("android.extra_manifest_application_arguments", "android.res_xml", "android.add_src", "p4a.hook"):
        for name in spec()[key].split(","):
            assert (PACKAGE / name).exists(), key
    parts = ElementTree.parse(PACKAGE / "application_parts.xml").getroot()
    for service in parts.iter("service"):
        name = str(service.get("{http://schemas.android.com/apk/res/android}name"))
        assert (PACKAGE / "java" / f"{name.replace('.', '/')}.java").exists(), name
        assert f'"{name}"' in (ROOT / "tablet_app/garboard_tablet/system/android_services.py").read_text()


def test_the_camera_may_write_to_the_one_folder_that_pictures_come_from(tmp_path: Path) -> None:
    """The provider's paths are within the app's files, where the tablet's data is."""
    from garboard_tablet.models.coming import coming_folder
    from garboard_tablet.models.tablet import open_tablet

    tablet = open_tablet(tmp_path / NAME)
    coming = coming_folder(tablet).relative_to(tmp_path)
    tablet.close()
    (path,) = ElementTree.parse(PACKAGE / "res_xml" / "picture_paths.xml").getroot()
    assert (path.tag, path.get("path")) == ("files-path", f"{coming.as_posix()}/")
    source = (ROOT / "tablet_app/garboard_tablet/system/android_files.py").read_text()
    assert 'AUTHORITY = "fileprovider"' in source
    parts = (PACKAGE / "application_parts.xml").read_text()
    assert f'"{spec()["package.domain"]}.{spec()["package.name"]}.fileprovider"' in parts


def test_the_program_is_laid_out_with_a_beginning(tmp_path: Path) -> None:
    """One folder with a main.py and every package of the program, without tests and byte code."""
    loaded("lay_out", PACKAGE / "lay_out.py").lay_out(tmp_path / "program")
    made = {path.name for path in (tmp_path / "program").iterdir()}
    assert {"main.py", "garboard", "garboard_tablet", "garboard_wiring_audit"} <= made
    compile((tmp_path / "program" / "main.py").read_text(), "main.py", "exec")
    assert not [*(tmp_path / "program").rglob("__pycache__")]
    ends = {path.suffix.lstrip(".") for path in (tmp_path / "program").rglob("*") if path.is_file()}
    assert ends <= set(spec()["source.include_exts"].split(",")), "the packager leaves out every other file"


@has_packager
def test_the_list_of_recipes_is_the_packagers() -> None:
    listed = recipe()
    (wheel,) = WHEELS
    assert listed["packager"]["version"] in wheel.name
    with zipfile.ZipFile(wheel) as packager:
        for name, version in listed["recipe"].items():
            path = f"pythonforandroid/recipes/{name}/__init__.py"
            (path,) = (file for file in packager.namelist() if file.lower() == path)
            source = packager.read(path).decode()
            found = re.search(r"^    version = ['\"]([\d.]+)['\"]", source, re.MULTILINE)
            assert (found[1] if found else "") == version, name


@pytest.fixture(scope="module")
def manifest(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """The manifest as the packager renders it with our arguments, ours put in by the hook, and its resources."""
    folder = tmp_path_factory.mktemp("package")
    build = packagers_build(folder)
    app = spec()
    arguments = build.create_argument_parser().parse_args(
        [
            *("--private", str(folder), "--package", f"{app['package.domain']}.{app['package.name']}"),
            *("--name", app["title"], "--version", garboard.__version__, "--numeric-version", "1"),
            *("--minsdk", app["android.minapi"], "--allow-backup", "false", "--window"),
            *("--android-entrypoint", "org.kivy.android.PythonActivity"),
            *("--android-apptheme", "@android:style/Theme.NoTitleBar"),
            *(word for one in app["android.permissions"].split(",") for word in ("--permission", one)),
            *(word for one in app["orientation"].split(",") for word in ("--orientation", one)),
            "--extra-manifest-application-arguments",
            (PACKAGE / app["android.extra_manifest_application_arguments"]).read_text(),
        ]
    )
    arguments.permissions = build.parse_permissions(arguments.permissions)
    arguments.manifest_orientation = build.get_manifest_orientation(arguments.orientation)
    arguments.add_activity = []
    given = {"args": arguments, "android_api": app["android.api"], "debug": False, "service": False}
    given |= {"service_data": [], "native_services": [], "url_scheme": "kivy", "private_version": "1"}
    build.render("AndroidManifest.tmpl.xml", str(folder / "AndroidManifest.xml"), **given)
    build.render("strings.tmpl.xml", str(folder / "res" / "values" / "strings.xml"), **given)
    (folder / "res" / "mipmap").mkdir()
    shutil.copy(folder / "templates" / "kivy-icon.png", folder / "res" / "mipmap" / "icon.png")
    (folder / "res" / "xml").mkdir()
    for name in app["android.res_xml"].split(","):
        shutil.copy(PACKAGE / name, folder / "res" / "xml")
    rendered = (folder / "AndroidManifest.xml").read_text()
    parts = (PACKAGE / "application_parts.xml").read_text()
    return loaded("hook", PACKAGE / "hook.py").with_parts(rendered, parts), folder


def packagers_build(folder: Path) -> Any:
    """The packager's own program that renders, with its templates; of the rest of the packager it needs two names."""
    with zipfile.ZipFile(WHEELS[0]) as packager:
        for name in packager.namelist():
            for bootstrap in ("common", "_sdl_common"):
                before = f"pythonforandroid/bootstraps/{bootstrap}/build/"
                inside = name.removeprefix(before)
                if name.startswith(before) and (inside == "build.py" or inside.startswith("templates/")):
                    (folder / inside).parent.mkdir(parents=True, exist_ok=True)
                    (folder / inside).write_bytes(packager.read(name))
    about = {"hostpython": sys.executable, "bootstrap": spec()["p4a.bootstrap"], "ndk_api": 24}
    (folder / "dist_info.json").write_text(json.dumps(about))
    needed: dict[str, Any] = {"rmdir": None, "ensure_dir": None, "max_build_tool_version": None}
    stand_ins = {"bootstrap": {"SDL_BOOTSTRAPS": ("sdl2", "sdl3")}, "util": needed}
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "pythonforandroid", types.ModuleType("pythonforandroid"))
        for name, held in stand_ins.items():
            module = types.ModuleType(f"pythonforandroid.{name}")
            module.__dict__.update(held)
            patch.setitem(sys.modules, module.__name__, module)
        return loaded("build", folder / "build.py")


def loaded(name: str, path: Path) -> Any:
    """A program that is no module of ours, by its file."""
    found = importlib.util.spec_from_file_location(f"package_{name}", path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


def compiled(manifest: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Have aapt make a package of it, in the folder."""
    (folder / "AndroidManifest.xml").write_text(manifest)
    command = ["aapt", "package", "-f", "-M", str(folder / "AndroidManifest.xml"), "-I", str(FRAMEWORK)]
    command += ["-S", str(folder / "res"), "-F", str(folder / "out.apk")]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def for_29(manifest: str, folder: Path) -> str:
    """What Android 10's framework can know of it: the rules of Android 12 are left out."""
    (folder / "res" / "xml" / "data_extraction_rules.xml").unlink()
    manifest = manifest.replace("<manifest ", '<manifest package="org.garboard.tablet" ', 1)
    return re.sub(rf' [\w:]*{TOO_NEW_FOR_29}="[^"]*"', "", manifest)


@has_packager
@has_aapt
def test_the_manifest_compiles_against_android_10(manifest: tuple[str, Path], tmp_path: Path) -> None:
    """And says what it is to say: the permissions, no backup, a service of the right type for nobody else to start."""
    text, folder = manifest
    shutil.copytree(folder, tmp_path / "it")
    done = compiled(for_29(text, tmp_path / "it"), tmp_path / "it")
    assert done.returncode == 0, done.stderr
    told = subprocess.run(
        ["aapt", "dump", "xmltree", str(tmp_path / "it" / "out.apk"), "AndroidManifest.xml"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    for permission in spec()["android.permissions"].split(","):
        assert f'"android.permission.{permission}"' in told
    assert re.search(r"allowBackup\(0x\w+\)=\(type 0x12\)0x0\b", told)
    assert '"org.garboard.tablet.fileprovider"' in told
    service = told[told.index("E: service") :]
    assert '"org.garboard.tablet.RunService"' in service
    assert re.search(r"foregroundServiceType\(0x\w+\)=\(type 0x11\)0x10\b", service), "connectedDevice is 0x10"
    assert re.search(r"exported\(0x\w+\)=\(type 0x12\)0x0\b", service)
    assert "android:process" not in service[: service.find("E:", 3)]
    provider = told[told.index("E: provider") :]
    assert '"org.garboard.tablet.fileprovider"' in provider
    assert re.search(r"exported\(0x\w+\)=\(type 0x12\)0x0\b", provider)
    assert "android.permission.CAMERA" not in told


@has_packager
@has_aapt
@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('"connectedDevice"', '"connectedThing"'),
        ("android:exported", "android:exportedd"),
        ("@mipmap/icon", "@mipmap/no_icon"),
    ],
)
def test_a_manifest_with_a_mistake_does_not_compile(
    manifest: tuple[str, Path], tmp_path: Path, right: str, wrong: str
) -> None:
    text, folder = manifest
    shutil.copytree(folder, tmp_path / "it")
    assert right in text
    done = compiled(for_29(text, tmp_path / "it").replace(right, wrong), tmp_path / "it")
    assert done.returncode != 0


@has_packager
@has_aapt
def test_the_rules_of_android_12_are_all_that_android_10_does_not_know(
    manifest: tuple[str, Path], tmp_path: Path
) -> None:
    text, folder = manifest
    shutil.copytree(folder, tmp_path / "it")
    done = compiled(text.replace("<manifest ", '<manifest package="org.garboard.tablet" ', 1), tmp_path / "it")
    unknown = re.findall(r"No resource identifier found for attribute '(\w+)'", done.stderr)
    assert done.returncode != 0
    assert unknown == [TOO_NEW_FOR_29], done.stderr


def test_parts_are_put_in_once_and_a_manifest_without_a_place_for_them_is_refused() -> None:
    with_parts = loaded("hook", PACKAGE / "hook.py").with_parts
    parts = (PACKAGE / "application_parts.xml").read_text()
    once = with_parts("<manifest><application/></manifest>", parts)
    assert with_parts(once, parts) == once
    assert once.count("RunService") == 1
    with pytest.raises(ValueError, match="template has changed"):
        with_parts("<manifest/>", parts)
