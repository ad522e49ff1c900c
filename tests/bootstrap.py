"""Set-up on a fresh machine: one virtual environment in the project folder, standard library only.

Used by ``python3 -m tests`` and ``python3 -m sample_images``. A second run finds everything in place and goes
on at once: what was installed is noted in the environment and only done again when pyproject.toml changes.
"""

from __future__ import annotations

import ctypes.util
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
OLDEST, NEWEST = (3, 11), (3, 13)

# what the tests of the panel need beside Python: a display without a screen, and what Qt's xcb plugin needs
SCREEN_PACKAGES = (
    "xvfb",
    "xauth",
    "libxcb-cursor0",
    "libxcb-icccm4",
    "libxcb-image0",
    "libxcb-keysyms1",
    "libxcb-render-util0",
    "libxcb-xkb1",
    "libxkbcommon-x11-0",
    "libegl1",
    "libgl1",
    "libopengl0",
    "libfontconfig1",
)
# what tests read what was written with, each by the command it brings: a browser that prints, a reader of
# PDF, and two independent readers of DICOM
PROGRAM_PACKAGES = {
    "chromium": "chromium",
    "pdfinfo": "poppler-utils",
    "dsrdump": "dcmtk",
    "dcmp2pgm": "dcmtk",
    "dciodvfy": "dicom3tools",
}
_SCREEN_LIBRARIES = (
    "xcb-cursor",
    "xcb-icccm",
    "xcb-image",
    "xcb-keysyms",
    "xcb-render-util",
    "xcb-xkb",
    "xkbcommon-x11",
    "EGL",
    "GL",
    "OpenGL",
    "fontconfig",
)


class SetUpError(Exception):
    """The set-up cannot go on; the text says what to do."""


def environment_python() -> Path:
    """Path of the Python in the virtual environment."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def set_up(extras: str) -> Path:
    """Make the virtual environment and install the project into it, where that is not done already.

    Parameters
    ----------
    extras : str
        ``"dev"`` for the tools and the panel, empty for the command line alone.

    Returns
    -------
    pathlib.Path
        The Python to go on with.

    Raises
    ------
    SetUpError
        Something is missing that this cannot install.
    """
    python = environment_python()
    if _is_done(extras):
        return python
    base = _supported_python()
    if not _runs(python):
        _make_environment(base)
    _say(f"installing the project into {VENV.name} (once; this takes some minutes)")
    target = f".[{extras}]" if extras else "."
    # what is used is compiled when it is first imported; compiling all of it takes as long as installing it
    options = ["-qq", "--disable-pip-version-check", "--no-compile"]
    _call([str(python), "-m", "pip", "install", *options, "-e", target])
    _note_path(extras).write_text(json.dumps(_state()), encoding="utf-8")
    return python


def add_system_packages() -> None:
    """Install the system packages that tests need beside Python, or say which are missing."""
    programs = [f"{name} (command {by})" for by, name in PROGRAM_PACKAGES.items() if not shutil.which(by)]
    if not sys.platform.startswith("linux"):
        if programs:
            _say(f"missing for the tests of what is written: {', '.join(programs)}; put them on the path")
        return
    missing = _missing_debian_packages() if shutil.which("dpkg-query") else [*_missing_libraries(), *programs]
    if not missing:
        return
    if shutil.which("apt-get") and os.geteuid() == 0:
        _install_debian_packages(missing)
        return
    words = " ".join(missing)
    if shutil.which("apt-get"):
        _say(f"missing for the tests: {words}; install with: sudo apt-get install {words}")
    else:
        _say(f"missing for the tests: {words}; install them with the package manager of this system")


def has_display() -> bool:
    """Tell whether windows can be opened."""
    if not sys.platform.startswith("linux"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def run(command: list[str]) -> int:
    """Run a command in the project folder and give back its exit code."""
    _say(" ".join(command))
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def _say(text: str) -> None:
    print(f"[set-up] {text}", flush=True)


def _call(command: list[str]) -> None:
    done = subprocess.run(command, cwd=ROOT, check=False)
    if done.returncode != 0:
        raise SetUpError(f"this failed with exit code {done.returncode}: {' '.join(command)}")


def _runs(python: Path) -> bool:
    return python.exists() and _succeeds([str(python), "-m", "pip", "--version"])


def _succeeds(command: list[str]) -> bool:
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _state() -> dict[str, str]:
    project = (ROOT / "pyproject.toml").read_bytes()
    return {"pyproject_sha256": hashlib.sha256(project).hexdigest(), "root": str(ROOT)}


def _note_path(extras: str) -> Path:
    return VENV / f"installed-{extras or 'base'}.json"


def _is_done(extras: str) -> bool:
    # an environment with the tools can do all that the plain one can
    for note in {_note_path(extras), _note_path("dev")}:
        try:
            if json.loads(note.read_text(encoding="utf-8")) == _state() and environment_python().exists():
                return True
        except (OSError, ValueError):
            continue
    return False


def _supported_python() -> str:
    """Find a Python this project runs on: this one, or another one on the path."""
    if OLDEST <= sys.version_info[:2] <= NEWEST:
        return sys.executable
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        found = shutil.which(f"python3.{minor}")
        if found:
            return found
    raise SetUpError(
        f"this is Python {sys.version_info[0]}.{sys.version_info[1]}; napari-periapical needs Python "
        f"{OLDEST[0]}.{OLDEST[1]} to {NEWEST[0]}.{NEWEST[1]}, and none is on the path. Install one and run: "
        f"python3.{NEWEST[1]} -m tests"
    )


def _make_environment(base: str) -> None:
    _say(f"making the virtual environment {VENV} with {base}")
    command = [base, "-m", "venv", "--clear", str(VENV)]
    if not _succeeds([base, "-c", "import ensurepip, venv"]):
        # Debian keeps this part of Python in a package of its own
        name = f"python{_version_of(base)}-venv"
        if not (shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0):
            raise SetUpError(
                f"{base} cannot make virtual environments (ensurepip is missing). On Debian or Ubuntu run: "
                f"sudo apt-get install {name}. Elsewhere install Python with its ensurepip module."
            )
        _install_debian_packages([name])
    _call(command)


def _version_of(python: str) -> str:
    told = subprocess.run(
        [python, "-c", "import sys; print('%d.%d' % sys.version_info[:2])"],
        capture_output=True,
        text=True,
        check=True,
    )
    return told.stdout.strip()


def _missing_debian_packages() -> list[str]:
    # a program may come from elsewhere than its package
    programs = list(dict.fromkeys(n for by, n in PROGRAM_PACKAGES.items() if not shutil.which(by)))
    told = subprocess.run(
        ["dpkg-query", "-W", "-f", "${Package} ${db:Status-Status}\n", *SCREEN_PACKAGES],
        capture_output=True,
        text=True,
        check=False,
    )
    there = {line.split()[0] for line in told.stdout.splitlines() if line.endswith(" installed")}
    return [*(name for name in SCREEN_PACKAGES if name not in there), *programs]


def _missing_libraries() -> list[str]:
    missing = [f"lib{name}" for name in _SCREEN_LIBRARIES if ctypes.util.find_library(name) is None]
    return missing if shutil.which("xvfb-run") else ["xvfb-run", *missing]


def _install_debian_packages(names: list[str]) -> None:
    _say(f"installing system packages: {' '.join(names)}")
    settings = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *names]
    for command in (["apt-get", "update", "-qq"], install):
        done = subprocess.run(command, env=settings, stdout=subprocess.DEVNULL, check=False)
        if done.returncode != 0 and command is install:
            raise SetUpError(f"this failed with exit code {done.returncode}: {' '.join(command)}")
