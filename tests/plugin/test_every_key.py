"""Every key either does something or says why it does not, whatever is going on."""

from __future__ import annotations

import pytest

from napari_periapical.shortcuts import SHORTCUTS
from radio.measure.case import CaseFacts
from tests.plugin.sessions import controller

KEYS = [(key, run) for one in SHORTCUTS for key, run in one.keys]


def untouched(folder):
    return controller(folder)


def all_placed(folder):
    one = controller(folder, (CaseFacts(scale_from="none"), CaseFacts(canal="2", scale_from="none")))
    for name, point in (("file_start", (5.0, 5.0)), ("file_tip", (30.0, 18.0)), ("orifice", (10.0, 20.0))):
        one.choose(name)
        one.place(point)
    one.choose("apex")
    one.place((40.0, 20.0))
    return one


def nothing_chosen(folder):
    one = all_placed(folder)
    one.session.selected = one.session.landmark = None
    return one


def traced(folder):
    one = controller(folder)
    one.choose("file_start")
    one.session.chosen = False
    one.click((5.0, 5.0))
    assert one.tracing == "file"
    return one


def held(folder):
    one = all_placed(folder)
    one.begin_move("apex", 0)
    one.move_to((41.0, 22.0))
    return one


def undone_all(folder):
    one = traced(folder)
    one.undo()
    return one


def seen(one):
    """Everything a person could see change."""
    session = one.session
    return (
        session.sheet,
        session.canal,
        session.landmark,
        session.selected,
        session.tracing,
        frozenset(session.skipped),
        session.drag is None,
    )


@pytest.mark.parametrize(("key", "run"), KEYS, ids=[key for key, _ in KEYS])
@pytest.mark.parametrize("state", [untouched, all_placed, nothing_chosen, traced, held, undone_all])
def test_a_key_does_something_or_says_why_not(tmp_path, state, key, run):
    one = state(tmp_path)
    one.messages.clear()
    before = seen(one)
    run(one)
    assert seen(one) != before or one.messages, f"{key} did nothing and said nothing"
