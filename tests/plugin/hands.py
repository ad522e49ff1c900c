"""A person's hands on a real viewer: mouse and keys as Qt delivers them."""

from __future__ import annotations

from typing import Any

from qtpy.QtCore import QEvent, QPoint, QPointF, Qt
from qtpy.QtGui import QMouseEvent
from qtpy.QtWidgets import QApplication, QWidget

from napari_periapical.binding import binding_of

LEFT, RIGHT, NONE = Qt.MouseButton.LeftButton, Qt.MouseButton.RightButton, Qt.MouseButton.NoButton
PLAIN = Qt.KeyboardModifier.NoModifier


class Hands:
    """Works on the canvas of a shown viewer; places are (row, col) of the image.

    Parameters
    ----------
    viewer : napari.Viewer or proxy
    qtbot : pytestqt's qtbot
    """

    def __init__(self, viewer: Any, qtbot: Any) -> None:
        self.viewer, self.qtbot = viewer, qtbot
        self.canvas = self._find_canvas()

    @staticmethod
    def _find_canvas() -> QWidget:
        found = [
            w
            for w in QApplication.allWidgets()
            if type(w).__name__ == "CanvasBackendDesktop" and w.isVisible()
        ]
        assert len(found) == 1
        return found[0]

    def on_screen(self, point: tuple[float, float]) -> QPointF:
        """Place of an image point on the canvas."""
        image = self.viewer.layers[0]
        row, col = image.data_to_world(point)
        camera = self.viewer.scene.camera
        middle = self.canvas.width() / 2, self.canvas.height() / 2
        x = middle[0] + (col - camera.center[-1]) * camera.zoom
        y = middle[1] + (row - camera.center[-2]) * camera.zoom
        return QPointF(x, y)

    def _send(self, kind: QEvent.Type, where: QPointF, button: Any, buttons: Any, modifier: Any) -> None:
        world = QPointF(self.canvas.mapToGlobal(QPoint(round(where.x()), round(where.y()))))
        QApplication.sendEvent(self.canvas, QMouseEvent(kind, where, world, button, buttons, modifier))
        # napari passes moves on every 5 ms at most
        self.qtbot.wait(15)
        self.see()

    def see(self) -> None:
        """Wait until all is drawn, as a person looks before going on."""
        binding = binding_of(self.viewer)
        self.qtbot.waitUntil(lambda: binding is None or binding.drawn)

    def move(self, *points: tuple[float, float], modifier: Any = PLAIN) -> None:
        """Move the pointer from point to point with no button down."""
        for point in points:
            self._send(QEvent.Type.MouseMove, self.on_screen(point), NONE, NONE, modifier)

    def leave(self) -> None:
        """Take the pointer off the canvas, whatever the real one did on a screen that windows share."""
        self.viewer.mouse_over_canvas = True
        QApplication.sendEvent(self.canvas, QEvent(QEvent.Type.Leave))

    def drag(self, *points: tuple[float, float], modifier: Any = PLAIN, button: Any = LEFT) -> None:
        """Press at the first point, move to the others, release at the last."""
        places = [self.on_screen(p) for p in points]
        self._send(QEvent.Type.MouseMove, places[0], NONE, NONE, modifier)
        self._send(QEvent.Type.MouseButtonPress, places[0], button, button, modifier)
        for place in places[1:]:
            self._send(QEvent.Type.MouseMove, place, NONE, button, modifier)
        self._send(QEvent.Type.MouseButtonRelease, places[-1], button, NONE, modifier)

    def click(self, point: tuple[float, float], modifier: Any = PLAIN, button: Any = LEFT) -> None:
        """Press and release at one place."""
        self.drag(point, modifier=modifier, button=button)

    def double_click(self, point: tuple[float, float]) -> None:
        """Click twice as Qt tells of it: press, release, double click, release."""
        self.click(point)
        place = self.on_screen(point)
        self._send(QEvent.Type.MouseButtonDblClick, place, LEFT, LEFT, PLAIN)
        self._send(QEvent.Type.MouseButtonRelease, place, LEFT, NONE, PLAIN)

    def key(self, key: Qt.Key, modifier: Any = PLAIN) -> None:
        """Press a key with the canvas in focus."""
        self.qtbot.keyClick(self.canvas, key, modifier)
        self.see()
