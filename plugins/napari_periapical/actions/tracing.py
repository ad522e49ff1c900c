"""Tracing a line by hand and eye: a live line follows the pointer, clicks pin it, a right click ends it."""

from __future__ import annotations

from typing import ClassVar

from psygnal import Signal

from napari_periapical.actions.placing import Placing
from napari_periapical.guide import GUIDE
from napari_periapical.live import LINES, LineParts
from napari_periapical.sheet import Point
from radio.trace.line import LineKind

# a pin nearer to the last point than this is the same click once more
_SAME_PX = 0.5
_WORDS = {"file": "the file", "canal": "the canal"}


class Tracing(Placing):
    """Actions on the line that is being traced."""

    aimed: ClassVar[Signal] = Signal()
    """The pointer moved: the live line is different now."""

    @property
    def tracing(self) -> LineKind | None:
        """The line that is traced."""
        return self.session.tracing if self.session is not None else None

    @property
    def last_traced(self) -> tuple[str, int] | None:
        """Landmark and index of the point the line that is traced has come to."""
        parts = self._parts()
        return None if parts is None else parts.last(self.canal)

    @property
    def looked_at(self) -> Point | None:
        """What the magnifier shows: the pointer while a point is placed, traced, dragged or nudged."""
        session = self.session
        if session is None or not session.sheet.view.magnifier:
            return None
        at_work = session.landmark is not None or session.drag is not None or session.nudged is not None
        return session.live.pointer if at_work else None

    # -- what a click does --------------------------------------------------------------------------------

    def click(self, point: Point, *, exact: bool = False) -> None:
        """Place the next point; while a line is traced, pin it there.

        A click that places the start of a line whose end is not placed yet begins tracing it. A landmark
        chosen in the list is placed alone.
        """
        session = self.session
        if session is None:
            return
        self._point(point)
        if session.canal.uid in session.sheet.view.hidden:
            self.tell("note", "This canal is hidden, and nothing is placed on it: show it first (H).")
            return
        if session.tracing is not None:
            if session.chosen:  # an end of the line, chosen in the list
                self.end_line(point, exact=exact)
            else:
                self.pin(point, exact=exact)
            return
        before = session.canal
        kind = next((kind for kind, parts in LINES.items() if parts.start == session.landmark), None)
        if kind is not None and session.chosen:
            session.begun.pop((before.uid, kind), None)
        elif kind is not None:
            session.begun[before.uid, kind] = before
        self.place(point, exact=exact)

    def is_meant(self, held: tuple[str, int]) -> bool:
        """Whether a click on a point means that point, and not the one that is to be placed.

        File and canal lie on top of each other, so that the next point often belongs where another is. Meant
        are the point placed last, those of the line that is traced, and those of the landmark that is due.
        """
        session, parts = self.session, self._parts()
        if session is None or session.landmark is None or held == session.selected:
            return True
        own = (parts.start, parts.via) if parts is not None else (session.landmark,)
        return held[0] in own

    def pin(self, point: Point, *, exact: bool = False) -> None:
        """Make the live line go through this point of it."""
        session, parts = self.session, self._parts()
        if session is None or parts is None or not self._on_image(point):
            return
        name, index = parts.last(session.canal)
        row, col = session.canal.points(name)[index]
        if max(abs(row - point[0]), abs(col - point[1])) <= _SAME_PX:
            return
        canal, at = session.canal.with_appended(parts.via, point, exact=exact)
        session.selected = (parts.via, at)
        self._push(f"pinning {self._word()}{' exactly' if exact else ''}", canal)

    def end_line(self, point: Point | None = None, *, exact: bool = False) -> None:
        """End the line at a point, or at the one pinned last when none is given."""
        session, parts = self.session, self._parts()
        if session is None or parts is None:
            return
        end = session.landmark if session.landmark in parts.ends else parts.ends[0]
        canal = session.canal
        if point is None:
            name, index = parts.last(canal)
            if name != parts.via:
                self.tell("note", f"First pin {self._word()} by a click, or right click at its end.")
                return
            point, exact = canal.points(name)[index], index in canal.exact_points(name)
            canal = canal.with_removed(name, index)
        elif not self._on_image(point):
            return
        canal, at = canal.with_added(end, (float(point[0]), float(point[1])), exact=exact)
        session.selected = (end, at)
        session.go_on(canal, end)
        self._push(f"placing {GUIDE[end].label}{' exactly' if exact else ''}", canal)

    def take_back(self) -> None:
        """Take the point pinned last away; with none pinned, the start."""
        session, parts = self.session, self._parts()
        if session is None or parts is None:
            return
        word, (name, index) = self._word(), parts.last(session.canal)
        canal = session.canal.with_removed(name, index)
        session.selected = parts.last(canal) if canal.points(parts.start) else None
        if session.selected is None:
            session.stop_tracing(parts.start)
        self._push(f"taking back a point of {word}", canal)

    def cancel_line(self) -> None:
        """Give the line up: start and pins placed since tracing began go, as one step that can be undone."""
        session, parts = self.session, self._parts()
        if session is None or parts is None or session.tracing is None:
            return
        word, before = self._word(), session.begun[session.canal.uid, session.tracing]
        canal = session.canal
        for name in (parts.start, parts.via):
            canal = canal.with_points(name, before.points(name))
        session.selected = None
        session.stop_tracing(parts.start)
        self._push(f"giving up {word}", canal)
        self.tell("note", f"The line of {word} was given up. Undo brings it back.")

    # -- what keys do, with or without a line being traced ---------------------------------------------------

    def confirm(self) -> None:
        """End the line at its last pin; without one, pass over the current landmark."""
        if self._is_held():
            return
        if self.session is not None and self.session.tracing is not None:
            self.end_line()
        else:
            self.advance()

    def back(self) -> None:
        """Take back the last pin; without a line, remove the chosen point."""
        if self.session is not None and self.session.tracing is not None:
            self.take_back()
        else:
            self.remove_selected()

    def escape(self) -> None:
        """Put back the point that is held; else give up the line that is traced."""
        if self.session is not None and self.session.drag is not None:
            self.cancel_move()
        elif self.session is not None and self.session.tracing is None:
            self.tell("note", "No line is being traced, and no point is held.")
        else:
            self.cancel_line()

    # -- the pointer --------------------------------------------------------------------------------------

    def aim(self, point: Point, *, straight: bool = False) -> None:
        """Let the live line follow the pointer.

        Parameters
        ----------
        point : tuple of float
            Where the pointer is, (row, col) in pixels.
        straight : bool
            Whether the line goes straight there instead of along what the image shows.
        """
        session = self.session
        if session is None:
            return
        self._point(point)
        self._find_line(straight=straight)
        self.aimed.emit()

    def rest(self) -> None:
        """Let the live line end at its last pin: the pointer has left the image."""
        if self.session is not None and self.session.live.pointer is not None:
            self.session.live.leave()
            self._find_line()
            self.aimed.emit()

    def _point(self, point: Point) -> None:
        """Take note where the pointer is."""
        assert self.session is not None
        point = float(point[0]), float(point[1])
        self.session.live.pointer = point if point == self.session.clipped(point) else None

    def _find_line(self, *, straight: bool = False) -> None:
        """Bring the live line in line with points and pointer; a point that is held is where it is held."""
        session = self.session
        if session is None or session.tracing is None:
            return
        result = self.shown.result if self.shown is not None else None
        pointer = session.live.pointer if session.drag is None else None
        session.live.find(
            session.radiograph, session.canal, session.tracing, result, pointer=pointer, straight=straight
        )

    def _after_change(self) -> None:
        self._find_line()
        super()._after_change()

    # -- bits ---------------------------------------------------------------------------------------------

    def _parts(self) -> LineParts | None:
        session = self.session
        return LINES[session.tracing] if session is not None and session.tracing is not None else None

    def _word(self) -> str:
        assert self.session is not None
        assert self.session.tracing is not None
        return _WORDS[self.session.tracing]
