"""The magnifier: an inset by the pointer that shows its surroundings enlarged."""

from __future__ import annotations

import weakref
from functools import partial
from typing import Any

import numpy as np
from qtpy.QtCore import QPointF, Qt
from qtpy.QtGui import QColor, QImage, QPainter, QPaintEvent, QPen, QPolygonF
from qtpy.QtOpenGLWidgets import QOpenGLWidget
from qtpy.QtWidgets import QMainWindow, QWidget

from napari_periapical.binding import Binding
from napari_periapical.drawings import live_drawing
from napari_periapical.magnifier import SIZE_PX, TIMES, ByteImage, Lens, colours_of, magnified

_NAME = "periapical_magnifier"
# the inset never comes nearer to the pointer than this: what is aimed at stays in sight
_CLEAR_PX = 24
# arms of the cross hair: they begin and end this far from its middle
_GAP_PX, _ARM_PX = 5, 28
_DARK, _BRIGHT = QColor(0, 0, 0, 170), QColor(255, 255, 255, 210)


def canvas_of(widget: QWidget) -> QWidget | None:
    """Find the canvas in the window a widget is docked to; None where there is none."""
    window: Any = widget
    while window is not None and not isinstance(window, QMainWindow):
        window = window.parentWidget()
    middle = None if window is None else window.centralWidget()
    return None if middle is None else middle.findChild(QOpenGLWidget)


def show_magnifier(binding: Binding, panel: QWidget) -> None:
    """Put the magnifier into the window of a panel, unless it is there already."""
    canvas = canvas_of(panel)
    if canvas is not None and canvas.findChild(QWidget, _NAME) is None:
        Magnifier(binding, canvas)


class Magnifier(QWidget):
    """Shows the image about the pointer while a point is placed, traced, dragged or nudged.

    Parameters
    ----------
    binding : Binding
    canvas : QWidget
        Where it lies; it lets every press of the mouse through.
    """

    def __init__(self, binding: Binding, canvas: QWidget) -> None:
        super().__init__(canvas)
        self.setObjectName(_NAME)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setFixedSize(SIZE_PX, SIZE_PX)
        self._binding, self._canvas = binding, canvas
        self._image: ByteImage | None = None
        self._lens: Lens | None = None
        self._colours: tuple[Any, ByteImage] | None = None
        self.hide()
        signals = (binding.controller.aimed, binding.controller.changed)
        for signal in signals:
            signal.connect(self.refresh)
        self.destroyed.connect(partial(_let_go, weakref.ref(self), signals))

    def refresh(self) -> None:
        """Show what is about the pointer now, or nothing."""
        binding = self._binding
        point, source = binding.controller.looked_at, binding.seen_image()
        if point is None or source is None or not binding.ready:
            self.hide()
            return
        row_px, col_px = (TIMES * size for size in binding.framing.screen_px_per_px())
        self._lens = Lens(point, row_px, col_px)
        self._image = magnified(
            source.data,
            self._lens,
            limits=tuple(source.contrast_limits),
            gamma=float(source.gamma),
            colours=self._colours_of(source.colormap),
        )
        self._keep_clear_of(point)
        self.show()
        self.update()

    def _colours_of(self, colormap: Any) -> ByteImage:
        if self._colours is None or self._colours[0] != colormap:
            self._colours = colormap, colours_of(colormap)
        return self._colours[1]

    def _keep_clear_of(self, point: tuple[float, float]) -> None:
        """Lie beside the pointer to its right, below it or, where a line comes from above, above it.

        What lies ahead of a line stays in sight. Where the canvas ends the other side is taken.
        """
        width, height = self._canvas.width(), self._canvas.height()
        across, down = self._binding.framing.on_canvas(point, (width, height))
        traced = self._binding.controller.last_traced
        comes_from = point if traced is None else self._binding.controller.canal.points(traced[0])[traced[1]]
        self.move(_beside(across, width), _beside(down, height, before=comes_from[0] < point[0]))

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the enlarged image, the live line and a cross hair with an open middle."""
        if self._image is None or self._lens is None:
            return
        with QPainter(self) as painter:
            image = np.ascontiguousarray(self._image)
            size = image.shape[0]
            painter.drawImage(0, 0, QImage(image.data, size, size, 3 * size, QImage.Format.Format_RGB888))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._draw_live(painter, self._lens)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            for pen in (QPen(_DARK, 3), QPen(_BRIGHT, 1)):
                painter.setPen(pen)
                _draw_cross(painter, size)
            painter.setPen(QPen(_BRIGHT, 2))
            painter.drawRect(0, 0, size - 1, size - 1)

    def _draw_live(self, painter: QPainter, lens: Lens) -> None:
        session = self._binding.controller.session
        if session is None or session.live.line is None:
            return
        colour = live_drawing(session.live.line, session.tracing, session.canal.uid).colours[0]
        painter.setPen(QPen(QColor(colour), 2))
        painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in lens.places(session.live.line)]))


def _beside(at: float, room: int, *, before: bool = False) -> int:
    """Where the inset begins along one side of the canvas: a little after the pointer or before it."""
    first, after = round(at) - _CLEAR_PX - SIZE_PX, round(at) + _CLEAR_PX
    if before:
        return first if first >= 0 else after
    return after if after + SIZE_PX <= room else first


def _draw_cross(painter: QPainter, size: int) -> None:
    middle = size // 2
    arms = ((middle - _ARM_PX, middle - _GAP_PX), (middle + _GAP_PX, middle + _ARM_PX))
    for first, last in arms:
        painter.drawLine(first, middle, last, middle)
        painter.drawLine(middle, first, middle, last)


def _let_go(magnifier: weakref.ref[Magnifier], signals: tuple[Any, ...], *_: object) -> None:
    """Hear no more of the controller when the canvas is gone."""
    gone = magnifier()
    if gone is not None:
        for signal in signals:
            signal.disconnect(gone.refresh, missing_ok=True)
