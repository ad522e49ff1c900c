"""Rough use: images and layers come, go, move and change their names in any order while points are placed.

What must hold whatever happens: layers of the person go only when the person deletes them, ours are there
once at most, nothing placed is lost, and the draft says what the panel holds.
"""

from __future__ import annotations

import random

import pytest
from napari.components import ViewerModel

from napari_periapical.binding import bind
from napari_periapical.framing import radiograph_of
from napari_periapical.layers import ROLE
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.pretend import add
from tests.plugin.sessions import newest_draft

IMAGES = [plain_radiograph(seed=seed) for seed in range(3)]


class Person:
    """Does anything at random, and knows what must be there."""

    def __init__(self, viewer, seed):
        self.viewer, self.random = viewer, random.Random(seed)
        self.binding = bind(viewer)
        self.controller = self.binding.controller
        self.controller.measuring.measure = straight_length
        self.mine = []  # layers of the person, radiographs among them
        self.placed = {}  # image to the sheet it was left with

    def theirs(self):
        return [one for one in self.viewer.layers if ROLE not in one.metadata]

    def add_image(self):
        there = {radiograph_of(one).sha256 for one in self.mine if radiograph_of(one) is not None}
        free = [one for one in IMAGES if one.sha256 not in there]
        if free:
            self.mine.append(add(self.viewer, self.random.choice(free)))

    def add_points(self):
        self.mine.append(self.viewer.add_points([[1.0, 2.0]], name="mine"))

    def delete(self):
        """Select any layers, as in the list of layers, and delete them."""
        chosen = [one for one in self.viewer.layers if self.random.random() < 0.3]
        if chosen:
            self.viewer.layers.selection = set(chosen)
            self.viewer.layers.remove_selected()
            self.mine = [one for one in self.mine if one not in chosen]

    def delete_one(self):
        if len(self.viewer.layers):
            gone = self.random.choice(list(self.viewer.layers))
            self.viewer.layers.remove(gone)
            self.mine = [one for one in self.mine if one != gone]

    def clear(self):
        self.viewer.layers.clear()
        self.mine = []

    def choose_layer(self):
        if len(self.viewer.layers):
            self.viewer.layers.selection.active = self.random.choice(list(self.viewer.layers))

    def rename(self):
        for one in self.viewer.layers:
            one.name = f"{self.random.random()}"

    def move(self):
        count = len(self.viewer.layers)
        if count:
            self.viewer.layers.move(self.random.randrange(count), self.random.randrange(count + 1))

    def hide(self):
        for one in self.viewer.layers:
            one.visible = self.random.random() < 0.7

    def place(self):
        self.controller.choose(self.random.choice(("orifice", "apex", "canal_via")))
        self.controller.place((self.random.uniform(0, 79), self.random.uniform(0, 59)))

    def drag(self):
        for name, points in self.controller.canal.clicks[:1]:
            self.controller.begin_move(name, len(points) - 1)
            self.controller.move_to((self.random.uniform(0, 79), 5.0))
            if self.random.random() < 0.7:
                self.controller.end_move()

    def undo(self):
        self.controller.undo()

    def redo(self):
        self.controller.redo()

    def another_canal(self):
        if len(self.controller.session.sheet.canals if self.controller.session else ()) < 3:
            self.controller.add_canal()

    def aids(self):
        self.controller.show_display("inverting", invert=self.random.random() < 0.5)

    def beside(self):
        self.controller.show_display("beside", beside_original=self.random.random() < 0.5, gamma=2.0)

    def zoom(self):
        self.viewer.scene.camera.zoom *= self.random.uniform(0.5, 2.0)

    def make_ready(self):
        self.binding.make_ready()

    def step(self):
        session = self.controller.session
        if session is not None:
            self.placed[session.radiograph.sha256] = session.sheet
        actions = [name for name in vars(Person) if name not in ("step", "check", "theirs", "__init__")]
        weights = [0.05 if name == "clear" else 1.0 for name in actions if name[0] != "_"]
        name = self.random.choices([one for one in actions if one[0] != "_"], weights)[0]
        getattr(self, name)()
        return name

    def check(self, folder):
        assert self.theirs() == [one for one in self.viewer.layers if one in self.mine]
        assert set(self.theirs()) == set(self.mine)
        roles = [one.metadata[ROLE] for one in self.viewer.layers if ROLE in one.metadata]
        assert len(roles) == len(set(roles))
        session = self.controller.session
        images = {radiograph_of(one).sha256 for one in self.mine if radiograph_of(one) is not None}
        if session is None:
            return
        sha = session.radiograph.sha256
        assert sha in images
        self.controller.autosave.flush()
        draft, told = newest_draft(folder, sha)
        assert told == ()
        if session.history.undoable:
            assert draft.sheet == session.sheet
        for other, sheet in self.placed.items():
            if other != sha:
                assert self.controller._sessions[other].sheet == sheet


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_lost_or_doubled_in_rough_use(drafts, seed):
    person = Person(ViewerModel(), seed)
    done = []
    for _ in range(150):
        done.append(person.step())
        person.check(drafts)
    assert len(set(done)) > 12
