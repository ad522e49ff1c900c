"""The set-up of a fresh machine, without touching this one."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests import __main__ as runner
from tests import bootstrap

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def fresh(tmp_path, monkeypatch):
    """Give a machine without an environment, on which commands are only written down."""
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    commands = []

    def noted(command, **_):
        commands.append(command)
        if "venv" in command:
            python = bootstrap.environment_python()
            python.parent.mkdir(parents=True)
            python.write_text("")
        return subprocess.CompletedProcess(command, 0, stdout="", stderr="")

    monkeypatch.setattr(subprocess, "run", noted)
    return commands


def installs(commands):
    return [command for command in commands if "install" in command]


def test_only_the_standard_library_is_needed():
    for path in ("tests/bootstrap.py", "tests/__main__.py", "sample_images/__main__.py"):
        tree = ast.parse((ROOT / path).read_text())
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                names = [name.name for name in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [str(node.module)]
            else:
                continue
            for name in names:
                assert name.split(".")[0] in {*sys.stdlib_module_names, "tests"}, f"{path} imports {name}"


def test_the_first_run_installs_and_the_second_does_not(fresh):
    python = bootstrap.set_up("dev")
    assert python == bootstrap.environment_python()
    (install,) = installs(fresh)
    assert install[-2:] == ["-e", ".[dev]"]
    fresh.clear()
    bootstrap.set_up("dev")
    assert fresh == []
    bootstrap.set_up("")
    assert fresh == []


def test_a_changed_project_is_installed_again(fresh):
    bootstrap.set_up("")
    fresh.clear()
    (bootstrap.ROOT / "pyproject.toml").write_text("[project]\nname = 'x'\n")
    bootstrap.set_up("")
    assert len(installs(fresh)) == 1


def test_a_damaged_note_is_no_obstacle(fresh):
    bootstrap.set_up("dev")
    (bootstrap.VENV / "installed-dev.json").write_text("{")
    fresh.clear()
    bootstrap.set_up("dev")
    assert len(installs(fresh)) == 1
    assert json.loads((bootstrap.VENV / "installed-dev.json").read_text())["root"] == str(bootstrap.ROOT)


def test_a_python_that_is_too_old_is_named(fresh, monkeypatch):
    monkeypatch.setattr(bootstrap.sys, "version_info", (3, 9, 2, "final", 0))
    monkeypatch.setattr(bootstrap.shutil, "which", lambda _: None)
    with pytest.raises(bootstrap.SetUpError, match=r"this is Python 3\.9; .* 3\.11 to 3\.13"):
        bootstrap.set_up("dev")


def test_missing_ensurepip_without_rights_says_what_to_install(fresh, monkeypatch):
    def without_ensurepip(command, **_):
        code = 1 if "import ensurepip, venv" in command else 0
        return subprocess.CompletedProcess(command, code, stdout="3.11\n", stderr="")

    monkeypatch.setattr(subprocess, "run", without_ensurepip)
    monkeypatch.setattr(bootstrap.os, "geteuid", lambda: 1000)
    with pytest.raises(bootstrap.SetUpError, match=r"apt-get install python3\.11-venv"):
        bootstrap.set_up("dev")


def test_missing_screen_packages_without_rights_are_listed(monkeypatch, capsys):
    monkeypatch.setattr(bootstrap.sys, "platform", "linux")
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(bootstrap.os, "geteuid", lambda: 1000)
    told = "".join(f"{name} installed\n" for name in bootstrap.SCREEN_PACKAGES if name != "xvfb")
    monkeypatch.setattr(
        subprocess,
        "run",
        lambda command, **_: subprocess.CompletedProcess(command, 0, stdout=told + "x not\n"),
    )
    bootstrap.add_system_packages()
    assert "sudo apt-get install xvfb\n" in capsys.readouterr().out


@pytest.mark.parametrize(("platform", "told"), [("linux", "chromium dicom3tools\n"), ("darwin", "dciodvfy")])
def test_missing_programs_are_listed(monkeypatch, capsys, platform, told):
    monkeypatch.setattr(bootstrap.sys, "platform", platform)
    there = lambda name: None if name in ("chromium", "dciodvfy") else f"/usr/bin/{name}"  # noqa: E731
    monkeypatch.setattr(bootstrap.shutil, "which", there)
    monkeypatch.setattr(bootstrap.os, "geteuid", lambda: 1000)
    screen = "".join(f"{name} installed\n" for name in bootstrap.SCREEN_PACKAGES)
    done = subprocess.CompletedProcess([], 0, stdout=screen)
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: done)
    bootstrap.add_system_packages()
    assert told in capsys.readouterr().out


def test_the_exit_code_is_that_of_the_first_step_that_failed(monkeypatch):
    monkeypatch.setattr(runner, "set_up", lambda _: Path("python"))
    monkeypatch.setattr(runner, "add_system_packages", lambda: None)
    codes = {"ruff check": 0, "ruff format": 3, "mypy": 1, "pytest": 5}
    ran = []

    def step(command):
        words = " ".join(command)
        ran.append(words)
        return next(code for name, code in codes.items() if name in words)

    monkeypatch.setattr(runner, "run", step)
    assert runner.main(["-k", "scale"]) == 3
    assert len(ran) == 4
    assert ran[-1].endswith("pytest -n auto --dist loadfile --no-loadscope-reorder -k scale")
    codes.update({"ruff format": 0, "mypy": 0})
    assert runner.main([]) == 5
