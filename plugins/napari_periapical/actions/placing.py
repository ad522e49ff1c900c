"""Placing, choosing, moving and removing points."""

from __future__ import annotations

from napari_periapical.actions.core import Core
from napari_periapical.guide import GUIDE
from napari_periapical.live import LINES
from napari_periapical.sheet import Point
from radio.measure.case import LANDMARKS


class Placing(Core):
    """Actions on points."""

    def place(self, point: Point, *, exact: bool = False) -> None:
        """Place the current landmark and go on to the next.

        Parameters
        ----------
        point : tuple of float
            (row, col), pixels.
        exact : bool
            Whether it stays exactly there: lines pass through it and nothing is found in its place.
        """
        session = self.session
        if session is None:
            return
        if session.landmark is None:
            self.tell("note", "Nothing is left to place. Choose a landmark in the list to add or replace it.")
            return
        if not self._on_image(point):
            return
        point, name = (float(point[0]), float(point[1])), session.landmark
        canal, index = session.canal.with_added(name, point, exact=exact)
        session.selected = (name, index)
        if canal.is_full(name):
            session.go_on(canal, name)
        self._push(f"placing {GUIDE[name].label}{' exactly' if exact else ''}", canal)

    def _on_image(self, point: Point) -> bool:
        """Whether a point lies on the image; the person is told when it does not."""
        assert self.session is not None
        inside = (float(point[0]), float(point[1])) == self.session.clipped(point)
        if not inside:
            self.tell("problem", "That is outside the image; click on the image.")
        return inside

    def choose(self, landmark: str) -> None:
        """Make a landmark the one the next click places, and select its point if it has one.

        A line that is traced rests meanwhile, unless the landmark is an end of it.
        """
        session = self.session
        if session is None:
            return
        if landmark not in LANDMARKS:
            raise ValueError(f"unknown landmark {landmark!r}; allowed are {', '.join(LANDMARKS)}")
        if session.tracing is not None and landmark not in LINES[session.tracing].ends:
            session.stop_tracing(landmark)
        session.landmark, session.chosen = landmark, True
        session.skipped.discard(landmark)
        points = self.canal.points(landmark)
        session.selected = (landmark, len(points) - 1) if points else None
        self.changed.emit()

    def choose_near(self, by: int) -> None:
        """Choose the landmark that many places further in the list."""
        if self.session is not None:
            current = self.session.landmark
            start = LANDMARKS.index(current) if current else (-1 if by > 0 else len(LANDMARKS))
            self.choose(LANDMARKS[(start + by) % len(LANDMARKS)])

    def select(self, landmark: str, index: int) -> None:
        """Choose one point, to be removed or moved."""
        if self.session is not None and index < len(self.canal.points(landmark)):
            self.session.selected = (landmark, index)
            self.changed.emit()

    def advance(self) -> None:
        """Pass over the current landmark."""
        session = self.session
        if session is None:
            return
        if session.landmark is None:
            self.tell(
                "note", "All landmarks are placed or passed over; choose one in the list, or with J and K."
            )
            return
        if not session.canal.points(session.landmark):
            session.skipped.add(session.landmark)
        session.go_on(session.canal, session.landmark)
        session.selected = None
        self.changed.emit()

    def remove_selected(self) -> None:
        """Remove the chosen point; its landmark becomes the current one."""
        session = self.session
        if session is None or self._is_held():
            return
        if session.selected is None:
            self.tell("note", "Click the point to be removed first, or choose it in the list.")
            return
        name, index = session.selected
        canal = session.canal.with_removed(name, index)
        session.selected = None
        session.landmark, session.chosen = name, False
        session.trace_on(canal)
        self._push(f"removing {GUIDE[name].label}", canal)

    def _is_held(self) -> bool:
        """Whether a point is held by the mouse, which the keys must wait for; the person is told."""
        held = self.session is not None and self.session.drag is not None
        if held:
            self.tell("note", "A point is held: let it go first, or press Esc to put it back.")
        return held

    # -- moving a point -----------------------------------------------------------------------------------

    def begin_move(self, landmark: str, index: int) -> None:
        """Take hold of a point."""
        if self.session is None or index >= len(self.session.canal.points(landmark)):
            return
        self.session.selected = (landmark, index)
        self.session.drag = self.session.canal
        self.changed.emit()

    def move_to(self, point: Point) -> None:
        """Move the point that is held; it stays on the image."""
        session = self.session
        if session is None or session.drag is None or session.selected is None:
            return
        session.drag = session.drag.with_moved(*session.selected, session.clipped(point))
        self._after_change()

    def end_move(self) -> None:
        """Let go of the point: the move is one step of the history."""
        session = self.session
        if session is None or session.drag is None or session.selected is None:
            return
        canal, session.drag = session.drag, None
        if canal != session.canal:
            self._push(f"moving {GUIDE[session.selected[0]].label}", canal)
        else:
            self._after_change()
