"""Moving the chosen point by fractions of a pixel."""

from __future__ import annotations

from napari_periapical.actions.tracing import Tracing
from napari_periapical.guide import GUIDE

NUDGE_PX = 0.1
FAR_PX = 1.0


class Nudging(Tracing):
    """Actions on the chosen point."""

    def nudge(self, rows_px: float, cols_px: float) -> None:
        """Move the chosen point a little; nudges of one point that follow each other are one step.

        Parameters
        ----------
        rows_px, cols_px : float
            How far, pixels; the point stays on the image.
        """
        session = self.session
        if session is None or self._is_held():
            return
        if session.selected is None:
            self.tell("note", "Click a point first; the arrow keys then move it by a tenth of a pixel.")
            return
        name, index = session.selected
        row, col = session.canal.points(name)[index]
        point = session.clipped((row + rows_px, col + cols_px))
        canal = session.canal.with_moved(name, index, point)
        nudged, session.live.pointer = session.nudged, point
        further = nudged is not None and nudged[0] is session.sheet and nudged[1] == session.selected
        self._push(f"nudging {GUIDE[name].label}", canal, amend=further)
        session.nudged = session.sheet, (name, index)
        self.aimed.emit()
