"""The picture that shows where every number came from."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from radio.measure.case import CaseResult
from radio.record.atomic import write_bytes
from radio.record.picture_drawing import Drawing
from radio.record.picture_numbers import NUMBERS_WIDTH_IN, lay_out_numbers
from radio.record.picture_view import crop_to_tooth, draw_scale_bar, show_radiograph
from radio.record.text_block import write_lines

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_DPI = 150
_MARGIN_IN = 0.2
_TITLE_IN = 0.3
_IMAGE_HEIGHT_IN = 8.0
_IMAGE_WIDTH_IN = (3.0, 5.2)


def draw_picture(radiograph: Radiograph, results: Sequence[CaseResult], out: Path) -> None:
    """Draw one image bare, with what was measured on it, and the numbers beside it, as PNG.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    results : sequence of CaseResult
        Its canals; one at least.
    out : pathlib.Path
        Where the picture goes.

    Raises
    ------
    ValueError
        No results.
    PeriapicalError
        The place cannot be written.
    """
    if not results:
        raise ValueError("draw_picture needs the result of at least one canal")
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    crop = crop_to_tooth(radiograph, results)
    numbers = lay_out_numbers(radiograph, results)
    image_height, image_width = _image_size_in(crop.height_px * radiograph.pixel_aspect, crop.width_px)
    inner = max(image_height, numbers.height_in)
    width = 4 * _MARGIN_IN + 2 * image_width + NUMBERS_WIDTH_IN
    height = 2 * _MARGIN_IN + _TITLE_IN + inner
    figure = Figure(figsize=(width, height), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)

    def pane(left: float, bottom: float, wide: float, tall: float) -> Any:
        return figure.add_axes((left / width, bottom / height, wide / width, tall / height))

    bottom = _MARGIN_IN + inner - image_height
    step = image_width + _MARGIN_IN
    bare, marked = (pane(_MARGIN_IN + n * step, bottom, image_width, image_height) for n in (0, 1))
    for axes, title in ((bare, _name(radiograph)), (marked, "what was measured")):
        show_radiograph(axes, radiograph, crop)
        axes.set_title(title, loc="left", fontsize=11)
    Drawing(marked, radiograph, crop).draw(results)
    draw_scale_bar(marked, crop, results)
    write_lines(pane(_MARGIN_IN + 2 * step, _MARGIN_IN, NUMBERS_WIDTH_IN, inner), numbers.lines, inner)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=_DPI)
    write_bytes(out, stream.getvalue())


def _image_size_in(tall: float, wide: float) -> tuple[float, float]:
    """Size on paper, inches, that keeps the proportions of the crop."""
    narrowest, widest = _IMAGE_WIDTH_IN
    width = min(max(_IMAGE_HEIGHT_IN * wide / tall, narrowest), widest)
    return min(width * tall / wide, 1.5 * _IMAGE_HEIGHT_IN), width


def _name(radiograph: Radiograph) -> str:
    return radiograph.path.name if radiograph.path else "image without a name"
