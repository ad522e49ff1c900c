"""The live line: through the points of the line that is traced to the pointer; no Qt, no viewer."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from napari_periapical.sheet import Canal, Point
from radio.image.radiograph import Radiograph
from radio.measure.approximate import approximate_mm_per_px
from radio.measure.case import CaseResult
from radio.trace.curve import arc_length, project, section
from radio.trace.line import Line, LineKind

FloatArray = npt.NDArray[np.float64]

# What a file is told by, where a picture may be inverted.
_METAL = ("file_start", "file_via", "file_tip", "ball_centre")
# A canal is taken to hold the file where its points lie this near to it.
_IN_CANAL_MM = 1.2
_STEP_MM = 0.15
# A piece of a file shorter than this does not tell whether metal is bright.
_TELLING_MM = 3.0


@dataclass(frozen=True)
class LineParts:
    """The landmarks one line is made of, coronal to apical.

    Parameters
    ----------
    start, via : str
    ends : tuple of str
        Any of them ends the line; the first unless another is chosen.
    """

    start: str
    via: str
    ends: tuple[str, ...]

    def is_open(self, canal: Canal) -> bool:
        """Whether the line has its start and no end."""
        return bool(canal.points(self.start)) and not any(canal.points(end) for end in self.ends)

    def last(self, canal: Canal) -> tuple[str, int]:
        """Landmark and index of the point the line has come to."""
        pins = len(canal.points(self.via))
        return (self.via, pins - 1) if pins else (self.start, 0)


LINES: dict[LineKind, LineParts] = {
    "file": LineParts("file_start", "file_via", ("file_tip",)),
    "canal": LineParts("orifice", "canal_via", ("apex", "canal_end")),
}


@dataclass(eq=False)
class Live:
    """What follows the pointer in one image; never part of the history.

    Parameters
    ----------
    pointer : tuple of float or None
        Where the pointer is, (row, col) in pixels; None beside the image.
    line : ndarray, shape (N, 2), or None
        The live line, (row, col) in pixels.
    """

    pointer: Point | None = None
    line: FloatArray | None = None
    _polarity: tuple[object, bool | None] = (None, None)
    _legs: dict[object, FloatArray] = field(default_factory=dict)

    def find(
        self,
        radiograph: Radiograph,
        canal: Canal,
        kind: LineKind,
        result: CaseResult | None,
        *,
        pointer: Point | None,
        straight: bool = False,
    ) -> None:
        """Find the line through the points of what is traced, and on to the pointer.

        Parameters
        ----------
        radiograph : Radiograph
        canal : Canal
        kind : {"file", "canal"}
            Which of its lines is traced.
        result : CaseResult or None
            What was measured on it last: its scale, and its file where it lies in the canal.
        pointer : tuple of float or None
            Where the line goes in the end, (row, col) in pixels; to its last point where there is none.
        straight : bool
            Whether to go straight to the pointer, whatever the image shows.
        """
        mm = self._mm_per_px(radiograph, canal, result)
        file = result.file_line if result is not None and kind == "canal" else None
        points = (*canal.points(LINES[kind].start), *canal.points(LINES[kind].via))
        known, self._legs = self._legs, {}
        legs = []
        for ends in pairwise(points):
            key = kind, ends, file, mm
            leg = known[key] if key in known else self._leg(radiograph, canal, kind, file, ends, mm)
            self._legs[key] = leg
            legs.append(leg)
        if pointer is not None and pointer != points[-1]:
            last = points[-1], pointer
            leg = np.array(last) if straight else self._leg(radiograph, canal, kind, file, last, mm)
            legs.append(np.asarray(leg, dtype=np.float64))
        self.line = np.vstack(legs) if legs else None

    def _leg(
        self,
        radiograph: Radiograph,
        canal: Canal,
        kind: LineKind,
        file: Line | None,
        ends: tuple[Point, Point],
        mm: float,
    ) -> FloatArray:
        """Find the way between two points: along a file that lies there, else by what the image shows."""
        both = np.array(ends, dtype=np.float64)
        along = None if file is None else _along_file(file, both, mm, radiograph.pixel_aspect)
        if along is None:
            return self._piece(radiograph, canal, kind, both, mm)
        if np.array_equal(along[-1], both[1]):
            return along
        beyond = self._piece(radiograph, canal, kind, np.array([along[-1], both[1]]), mm)
        return np.vstack([along[:-1], beyond])

    def forget(self) -> None:
        """Show no line any more."""
        self.line = None

    def leave(self) -> None:
        """Follow the pointer no longer."""
        self.pointer = self.line = None

    @staticmethod
    def _mm_per_px(radiograph: Radiograph, canal: Canal, result: CaseResult | None) -> float:
        """Size of a pixel along the columns: as measured, else about."""
        if result is not None and result.scale is not None:
            return result.scale.col_mm_per_px
        return approximate_mm_per_px(
            canal.clicks_px(), canal.facts, radiograph.spacing, radiograph.pixel_aspect
        )

    def _piece(
        self, radiograph: Radiograph, canal: Canal, kind: LineKind, ends: FloatArray, mm: float
    ) -> FloatArray:
        """Find one piece of the line; in a picture that may be inverted, the way metal looks there."""
        from radio.trace.preview import preview_line

        def line(metal_bright: bool) -> FloatArray:
            return preview_line(
                radiograph.grey,
                ends[0],
                ends[1],
                kind,
                mm_per_px=mm,
                pixel_aspect=radiograph.pixel_aspect,
                metal_bright=metal_bright,
            )

        known = self._known_polarity(radiograph, canal, mm)
        if known is not None or kind == "canal":
            return line(known is not False)
        bright = line(True)
        far = float(np.hypot(*(ends[1] - ends[0]))) * mm >= _TELLING_MM
        for metal_bright in (True, False) if far else ():
            way = bright if metal_bright else line(False)
            clicks = {"file_start": way[:1], "file_via": way[2:-2:4], "file_tip": way[-1:]}
            if _metal_is_bright(radiograph, clicks, mm) is metal_bright:
                self._polarity = self._polarity[0], metal_bright
                return way
        return bright

    def _known_polarity(self, radiograph: Radiograph, canal: Canal, mm: float) -> bool | None:
        """Whether metal is bright here, where that is plain: a header is believed, else what was clicked."""
        if radiograph.file_format == "DICOM":
            return True
        clicks = {name: points for name, points in canal.clicks_px().items() if name in _METAL}
        key = tuple((name, points.tobytes()) for name, points in clicks.items())
        if key != self._polarity[0]:
            plain = _metal_is_bright(radiograph, clicks, mm) if clicks else None
            # where it is not plain now, what was plain before holds
            self._polarity = key, self._polarity[1] if plain is None else plain
        return self._polarity[1]


def load_ahead() -> None:
    """Load what the live line needs, by finding one on a made image; at the first move it would hold up."""
    from radio.trace.polarity import metal_is_bright
    from radio.trace.preview import preview_line

    made = np.zeros((120, 120), dtype=np.float32)
    made[:, 58:62] = 1.0
    start, tip = (10.0, 60.0), (110.0, 60.0)
    for kind in LINES:
        preview_line(made, start, tip, kind, mm_per_px=0.05)
    clicks = {"file_start": [start], "file_via": [(60.0, 60.0)], "file_tip": [tip]}
    metal_is_bright(made, {name: np.array(one) for name, one in clicks.items()}, mm_per_px=0.05)


def _metal_is_bright(radiograph: Radiograph, clicks: dict[str, FloatArray], mm: float) -> bool | None:
    from radio.trace.polarity import metal_is_bright
    from radio.trace.workspace import make_workspace

    # what is compared with the metal: further off about a ball than beside a file
    margin_mm = 6.0 if "ball_centre" in clicks else 2.0
    points = np.vstack(list(clicks.values()))
    space = make_workspace(radiograph.grey, points, margin_px=margin_mm / mm, aspect=radiograph.pixel_aspect)
    here = {name: space.from_image(one) for name, one in clicks.items()}
    return metal_is_bright(space.image, here, mm_per_px=mm)


def _along_file(file: Line, ends: FloatArray, mm: float, aspect: float) -> FloatArray | None:
    """Way along a file from the last point to the pointer, or to the tip where the pointer is beyond it.

    None where the file does not lie between them: the canal is looked for itself.
    """
    square = np.array([aspect, 1.0])
    points = file.points_px * square
    total = arc_length(points)
    (s_last, aside_last), (s_pointer, aside_pointer) = (project(points, end * square) for end in ends)
    inside = abs(aside_last) * mm <= _IN_CANAL_MM and s_last * mm > -_IN_CANAL_MM and s_last < total
    stays = s_pointer > total or abs(aside_pointer) * mm <= _IN_CANAL_MM
    if not (inside and stays and s_pointer > s_last):
        return None
    way = section(points, max(s_last, 0.0), min(s_pointer, total), _STEP_MM / mm) / square
    return np.vstack([ends[0], way, ends[1]]) if s_pointer <= total else np.vstack([ends[0], way])
