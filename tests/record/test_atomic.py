from __future__ import annotations

import os
import stat
import subprocess
import sys

import pytest

from radio.errors import PeriapicalError
from radio.record import atomic


def test_content_is_replaced_and_nothing_else_is_left(tmp_path):
    place = tmp_path / "a.txt"
    atomic.write_text(place, "old")
    atomic.write_text(place, "new ±")
    assert place.read_text(encoding="utf-8") == "new ±"
    assert list(tmp_path.iterdir()) == [place]


def test_a_failure_leaves_the_old_content(tmp_path, monkeypatch):
    place = tmp_path / "a.txt"
    atomic.write_text(place, "old")

    def full_disk(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(PeriapicalError, match="No space left"):
        atomic.write_text(place, "new")
    assert place.read_text() == "old"
    assert list(tmp_path.iterdir()) == [place]


@pytest.mark.skipif(os.name == "nt", reason="permissions and links are those of POSIX")
def test_permissions_and_links_are_ordinary(tmp_path):
    place, link = tmp_path / "a.txt", tmp_path / "link.txt"
    atomic.write_text(place, "one")
    ordinary = tmp_path / "ordinary.txt"
    ordinary.write_text("x")
    assert stat.S_IMODE(place.stat().st_mode) == stat.S_IMODE(ordinary.stat().st_mode)
    link.symlink_to(place)
    atomic.write_text(link, "two")
    assert link.is_symlink()
    assert place.read_text() == "two"


@pytest.mark.skipif(os.name == "nt", reason="no such locks there")
def test_the_lock_keeps_another_process_out_and_ends_with_it(tmp_path):
    code = (
        "import sys, pathlib\n"
        "from radio.record.atomic import directory_lock\n"
        "with directory_lock(pathlib.Path(sys.argv[1]), wait=False) as held:\n"
        "    print(held, flush=True)\n"
        "    sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout.readline() == "True\n"
        with atomic.directory_lock(tmp_path, wait=False) as held:
            assert held is False
        other.kill()
    with atomic.directory_lock(tmp_path, wait=False) as held:
        assert held is True
    assert list(tmp_path.iterdir()) == []
