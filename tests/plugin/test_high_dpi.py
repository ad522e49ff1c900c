"""On a screen with twice as many pixels the panel has the same room, and nothing in it is cut off."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("qtpy")

ROOT = Path(__file__).resolve().parents[2]


def run(*arguments):
    """Run Python with everything on the screen twice as large."""
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env={**os.environ, "QT_SCALE_FACTOR": "2"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def test_nothing_is_cut_off_where_a_pixel_is_two(display):
    ratio = "from qtpy.QtWidgets import QApplication; print(QApplication([]).devicePixelRatio())"
    assert run("-c", ratio).stdout.split() == ["2.0"]
    done = run("-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/plugin/test_narrow.py", "-k", "dark")
    assert done.returncode == 0, done.stdout[-4000:]
    assert "1 passed" in done.stdout
