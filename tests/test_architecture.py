"""Who may import whom, what starts fast, and what is in the wheel."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
HEAVY = ("numpy", "scipy", "skimage", "cv2", "pydicom", "napari", "matplotlib")
SCREEN = {
    "napari",
    "napari_periapical",
    "qtpy",
    "psygnal",
    "superqt",
    "magicgui",
    "PySide6",
    "PyQt5",
    "PyQt6",
    "plugins",
}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def sources(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def imported(path: Path, *, top_level_only: bool = False) -> Iterator[str]:
    """Names of modules a source imports."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in tree.body if top_level_only else ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} uses a relative import"
            yield str(node.module)


def roots(path: Path, **options: bool) -> set[str]:
    return {name.split(".")[0] for name in imported(path, **options)}


def third_party(path: Path) -> set[str]:
    return roots(path) - set(sys.stdlib_module_names)


def test_there_is_something_to_walk():
    assert len(sources("radio")) > 20
    assert len(sources("calib")) >= 3


@pytest.mark.parametrize("path", sources("radio"), ids=lambda path: str(path.relative_to(ROOT)))
def test_the_core_knows_no_screen_and_no_plugin(path):
    assert not roots(path) & SCREEN


@pytest.mark.parametrize("path", sources("calib"), ids=lambda path: str(path.relative_to(ROOT)))
def test_millimetres_need_numpy_alone(path):
    assert third_party(path) <= {"numpy", "calib"}


@pytest.mark.parametrize("path", sources("radio"), ids=lambda path: str(path.relative_to(ROOT)))
def test_heavy_packages_are_imported_where_they_are_used(path):
    heavy = {"scipy", "skimage", "cv2", "pydicom", "matplotlib", "tifffile", "PIL", "gdcm"}
    assert not roots(path, top_level_only=True) & heavy


def test_everything_imported_is_declared():
    names = {
        "skimage": "scikit-image",
        "cv2": "opencv-python-headless",
        "PIL": "pillow",
        "gdcm": "python-gdcm",
        "pydantic_core": "pydantic",
    }
    declared = {Requirement(text).name for text in PROJECT["project"]["dependencies"]}
    used = {name for path in sources("radio") for name in third_party(path)} - {"radio", "calib"}
    assert {names.get(name, name) for name in used} <= declared


def closure(name: str, extras: tuple[str, ...] = (), seen: set[str] | None = None) -> set[str]:
    """Names of the distributions that come with one."""
    seen = set() if seen is None else seen
    if name in seen:
        return seen
    try:
        found = distribution(name)
    except PackageNotFoundError:
        return seen
    seen.add(name)
    for text in found.requires or []:
        one = Requirement(text)
        if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            closure(one.name.lower().replace("_", "-"), tuple(one.extras), seen)
    return seen


def licence_of(name: str) -> str:
    metadata = distribution(name).metadata
    trove = [text for text in metadata.get_all("Classifier") or [] if text.startswith("License")]
    # the older License field may hold the whole text; its first line names it
    older = (metadata.get("License") or "").strip().split("\n")[0]
    return " / ".join([metadata.get("License-Expression") or "", older, *trove])


def test_no_gpl_at_run_time():
    extras = PROJECT["project"]["optional-dependencies"]["gui"]
    packages: set[str] = set()
    for text in [*PROJECT["project"]["dependencies"], *extras]:
        one = Requirement(text)
        closure(one.name.lower(), tuple(one.extras), packages)
    assert len(packages) > 15
    for name in packages:
        licence = licence_of(name)
        # a choice of licences may be taken under its LGPL part (Qt for Python)
        strict = re.search(r"(?<!L)GPL|(?<!Lesser )General Public", licence) and "LGPL" not in licence
        assert not strict, f"{name}: {licence}"
    # Qt's Addons state the same choice, but hold modules that are under the GPL alone
    assert not packages & {"pyside6", "pyside6-addons"}


def test_readme_names_every_package_that_is_asked_for():
    extras = PROJECT["project"]["optional-dependencies"]
    told = (ROOT / "README.md").read_text(encoding="utf-8").partition("## What it stands on")[2]
    rows = [re.split(r" *\| *", row) for row in told.splitlines() if row.startswith("| ")]
    for extra, texts in (("", PROJECT["project"]["dependencies"]), *extras.items()):
        named = {
            name
            for _, packages, *_ in rows
            if re.findall(r"`\[(\w+)\]`", packages) == ([extra] if extra else [])
            for name in re.split(r"[,;] ", packages.partition(" (`")[0])
        }
        asked = {Requirement(text).name for text in texts} - {"napari-periapical"}
        assert named - {"package", "---"} == asked


@pytest.mark.parametrize("argument", ["--help", "--version"])
def test_help_loads_nothing_heavy(argument):
    code = (
        "import sys\n"
        f"sys.argv = ['periapical', {argument!r}]\n"
        "from radio.cli import main\n"
        "try:\n    main()\nexcept SystemExit as ended:\n    assert not ended.code, ended.code\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "LOADED []"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> zipfile.ZipFile:
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--no-isolation", "--wheel", "--outdir", str(out), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    (built,) = out.glob("*.whl")
    return zipfile.ZipFile(built)


def test_the_wheel_holds_what_an_installed_copy_needs(wheel):
    names = set(wheel.namelist())
    for name in (
        *("radio/py.typed", "calib/py.typed", "radio/cli.py", "napari_periapical/napari.yaml"),
        *("radio/_sample_images/IMAGES.csv", "radio/_sample_images/CLICKS.csv"),
    ):
        assert name in names
    assert any(re.fullmatch(r"napari_periapical-.*\.dist-info/licenses/LICENSE", name) for name in names)
    assert not any(name.startswith(("tests/", "plugins/")) or name.endswith(".pyc") for name in names)
    # what belongs to a source tree: the pictures of README, and the sources that make the images or set up
    samples = {name.removeprefix("radio/_sample_images/") for name in names if "_sample_images/" in name}
    assert not [name for name in samples if "/" in name or name.endswith(".py")]
    assert {name.split("/")[0] for name in names if ".dist-info/" not in name} == {
        "radio",
        "calib",
        "napari_periapical",
    }
    for folder in ("radio", "calib"):
        assert {str(path.relative_to(ROOT)) for path in sources(folder)} <= names
    images = [name for name in names if name.endswith((".dcm", ".png", ".tif", ".tiff", ".jpg"))]
    assert len([name for name in images if name.startswith("radio/_sample_images/")]) >= 6
    assert sum(info.file_size for info in wheel.infolist()) < 12_000_000


def test_the_wheel_measures_its_own_sample_images(wheel, tmp_path):
    wheel.extractall(tmp_path / "site")
    code = (
        "import radio\n"
        "from radio.study.demo import sample_images_folder\n"
        "from radio.cli import main\n"
        "print(radio.__file__, sample_images_folder(), sep='\\n')\n"
        "main()\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(tmp_path / "site"), "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(
        [sys.executable, "-c", code, "demo", "--out", "out"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    package = tmp_path / "site" / "radio"
    assert done.stdout.splitlines()[:2] == [str(package / "__init__.py"), str(package / "_sample_images")]
    rows = (ROOT / "sample_images" / "IMAGES.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert len(list((tmp_path / "out" / "pictures").iterdir())) == len({row.split(",")[0] for row in rows})


def test_the_wheel_names_its_command_and_plugin(wheel):
    (place,) = [name for name in wheel.namelist() if name.endswith("entry_points.txt")]
    text = wheel.read(place).decode()
    assert "periapical = radio.cli:main" in text
    assert "napari-periapical = napari_periapical:napari.yaml" in text
