"""Sessions that keep their drafts in a folder of a test."""

from __future__ import annotations

import os
import time

from napari_periapical.autosave import Autosave
from napari_periapical.controller import Controller
from napari_periapical.drafts import drafts_of
from radio.measure.case import CaseFacts
from tests.plugin.made import plain_radiograph, straight_length

NO_SCALE = CaseFacts(scale_from="none")
IMAGE = plain_radiograph()


def controller(folder, facts=(NO_SCALE,), *, image=IMAGE, **given):
    """Open an image as a viewer does that keeps its drafts in a folder."""
    one = Controller(measure=straight_length, autosave=Autosave(lambda: folder), **given)
    one.messages = []
    one.told.connect(lambda level, text: one.messages.append((level, text)) if text else None)
    one.open(image, facts)
    return one


def newest_draft(folder, sha256):
    """Give the draft written last, or None, and what is said of those that cannot be read."""
    drafts, told = drafts_of(folder, sha256)
    return (drafts[0] if drafts else None), told


def documents(folder):
    return sorted(folder.glob("*.json"))


def age(path, hours):
    """Make a draft older, as far as the disk tells."""
    then = time.time() - hours * 3600
    os.utime(path, (then, then))
