"""From stored DICOM values to values that grow with radiopacity: look-up tables, polarity, logarithm.

A presentation (VOI) transformation is made for the eye and may throw away what a measurement needs: a window
set for bone cuts off the metal of the file, one set for metal the dark canal. So:

* the modality transformation (rescale or table) is always applied; it makes no choice of contrast;
* a linear window is never applied: where it clips it loses data, where it does not it is a linear scaling,
  which the scaling to the film's own range undoes (DICOM PS3.3 C.11.2.1.2);
* a VOI table or a SIGMOID function carries a curve (often the logarithm or the film response) that the
  manufacturer meant to be seen. It is applied if it keeps the contrast of all but `LARGEST_LOSS` of the
  film's pixels, otherwise only its direction is honoured;
* values "for processing" that are proportional to exposure (Pixel Intensity Relationship LIN) are turned
  into attenuation by the logarithm (Beer-Lambert), which makes equal thicknesses equally visible;
* polarity: MONOCHROME1, or Presentation LUT Shape INVERSE, shows low values bright (the two say the same
  thing, PS3.3 C.8.11.3.1.2, and count once). Images for processing have no presentation; there Pixel
  Intensity Relationship Sign decides (PS3.3 C.8.11.3.1.2).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.errors import ImageError

FloatArray = npt.NDArray[np.float64]

LARGEST_LOSS = 0.0005
"""Largest share of film pixels whose contrast a VOI curve may flatten (a thin file covers about 0.003)."""
FLAT_SLOPE = 0.05
"""A curve is flat where it is this much less steep than on average."""
_SEGMENTS = 128


def to_radiopacity(
    stored: npt.NDArray[Any],
    ds: Any,
    find_film: Callable[[npt.NDArray[np.float32]], npt.NDArray[np.bool_]],
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_], list[str]]:
    """Turn stored values into values that grow with radiopacity.

    Parameters
    ----------
    stored : ndarray of int, shape (H, W)
        Stored values within 16 bits.
    ds : pydicom.Dataset
        The image's header.
    find_film : callable
        Gives the film mask of radiopaque-bright values.

    Returns
    -------
    value : ndarray of float32, shape (H, W)
        Radiopaque bright.
    film : ndarray of bool, shape (H, W)
        What `find_film` found.
    history : list of str
        What was done and why.

    Raises
    ------
    ImageError
        A transformation in the header makes no sense.
    """
    lowest = int(stored.min())
    domain = np.arange(lowest, int(stored.max()) + 1)
    table, history = _modality(domain, ds)
    sign, polarity = _polarity(ds)
    curve, name = _voi_curve(ds)
    if curve is not None:
        ends = curve(np.array([table.min(), table.max()]))
        if ends[1] < ends[0]:
            sign = -sign
            polarity += f"; the {name} runs downwards"
    elif sign < 0 and _is_linear_exposure(ds):
        table = np.log(np.maximum(table, max(1.0, float(table.max()) * 1e-5)))
        history.append("logarithm taken: values for processing are proportional to exposure (LIN)")
    history.append(polarity)
    index = stored.astype(np.int32) - lowest if lowest else stored
    value = np.take((sign * table).astype(np.float32), index)
    film = find_film(value)
    if curve is not None:
        lost = flattened_share(curve, table, np.bincount(index[film].ravel(), minlength=len(domain)))
        if lost <= LARGEST_LOSS:
            # a falling curve has turned the values round itself
            value = np.take((_polarity(ds)[0] * curve(table)).astype(np.float32), index)
            film = find_film(value)
            history.append(f"{name} applied: it flattens {lost:.2%} of the film")
        else:
            history.append(f"{name} left out: it would flatten the contrast of {lost:.1%} of the film")
    history.extend(_window_note(ds))
    return value, film, history


def _modality(domain: npt.NDArray[np.int_], ds: Any) -> tuple[FloatArray, list[str]]:
    """Modality transformation (PS3.3 C.11.1) of every stored value in use."""
    if ds.get("ModalityLUTSequence"):
        return _look_up(domain, ds.ModalityLUTSequence[0], ds), ["modality look-up table applied"]
    slope = float(ds.get("RescaleSlope", 1) or 0)
    intercept = float(ds.get("RescaleIntercept", 0) or 0)
    if not (np.isfinite(slope) and np.isfinite(intercept)) or slope == 0:
        raise ImageError(
            f"Rescale Slope {slope:g} and Rescale Intercept {intercept:g} make no image; "
            "the slope must be a number other than 0. Export the image again."
        )
    if slope == 1 and intercept == 0:
        return domain.astype(np.float64), []
    return np.asarray(domain * slope + intercept, np.float64), [
        f"rescaled by slope {slope:g}, intercept {intercept:g}"
    ]


def _look_up(values: npt.NDArray[Any], item: Any, ds: Any) -> FloatArray:
    """Apply one look-up table (PS3.3 C.11.1.1.1): values beyond its ends take the end entries."""
    entries, first, bits = (int(number) for number in item.LUTDescriptor)
    entries = entries or 65536
    data = item.LUTData
    if isinstance(data, bytes):
        order = "<" if ds.original_encoding[1] in (True, None) else ">"
        width = "B" if bits <= 8 and len(data) in (entries, entries + 1) else "H"
        if len(data) < entries * (1 if width == "B" else 2):
            raise ImageError("A look-up table in the header is cut off. Export the image again.")
        table = np.array(struct.unpack_from(f"{order}{entries}{width}", data), dtype=np.float64)
    else:
        table = np.array(data if np.iterable(data) else [data], dtype=np.float64)[:entries]
    if len(table) != entries or entries < 2:
        raise ImageError(
            f"A look-up table in the header announces {entries} entries and holds {len(table)}; "
            "at least 2 and as many as announced are needed. Export the image again."
        )
    return np.asarray(table[np.clip(np.floor(values) - first, 0, entries - 1).astype(np.int64)])


def _polarity(ds: Any) -> tuple[float, str]:
    """+1 if large values are radiopaque, -1 if small ones, and the reason."""
    relationship = ds.get("PixelIntensityRelationshipSign")
    if _for_processing(ds) and relationship in (1, -1):
        # +1: low values mean little X-ray intensity reached the detector, that is radiopaque
        return -float(relationship), f"polarity from Pixel Intensity Relationship Sign {relationship:+d}"
    photometric = str(ds.get("PhotometricInterpretation", ""))
    inverse = str(ds.get("PresentationLUTShape", "")) == "INVERSE"
    if photometric == "MONOCHROME1" or inverse:
        reason = photometric + (" with Presentation LUT Shape INVERSE" if inverse else "")
        return -1.0, f"turned round: {reason}"
    return 1.0, f"polarity kept: {photometric}"


def _for_processing(ds: Any) -> bool:
    return str(ds.get("PresentationIntentType", "")) == "FOR PROCESSING"


def _is_linear_exposure(ds: Any) -> bool:
    return _for_processing(ds) and str(ds.get("PixelIntensityRelationship", "")) == "LIN"


def _voi_curve(ds: Any) -> tuple[Callable[[FloatArray], FloatArray] | None, str]:
    """Return the first VOI transformation that is a curve, if there is one (PS3.3 C.11.2)."""
    if ds.get("VOILUTSequence"):
        item = ds.VOILUTSequence[0]
        return (lambda values: _look_up(values, item, ds)), "VOI look-up table"
    window = _window(ds)
    if window is None or window[2] != "SIGMOID":
        return None, ""
    centre, width, _ = window

    def sigmoid(values: FloatArray) -> FloatArray:
        # PS3.3 C.11.2.1.3.1; the exponent is bounded so that it cannot overflow
        return np.asarray(1 / (1 + np.exp(np.clip(-4 * (values - centre) / width, -700, 700))))

    return sigmoid, "SIGMOID window"


def _window(ds: Any) -> tuple[float, float, str] | None:
    """First window as (centre, width, function)."""

    def first(keyword: str) -> float:
        value: Any = ds.get(keyword)
        if value is None or value == "":
            return float("nan")
        return float(value if isinstance(value, (str, int, float)) else value[0])

    centre, width = first("WindowCenter"), first("WindowWidth")
    if not (np.isfinite(centre) and np.isfinite(width) and width > 0):
        return None
    return centre, width, str(ds.get("VOILUTFunction", "") or "LINEAR")


def _window_note(ds: Any) -> list[str]:
    window = _window(ds)
    if window is None or window[2] == "SIGMOID" or ds.get("VOILUTSequence"):
        return []
    centre, width, function = window
    return [
        f"{function} window (centre {centre:g}, width {width:g}) left out: it is for display and may clip"
    ]


def flattened_share(
    curve: Callable[[FloatArray], FloatArray], table: FloatArray, counts: npt.NDArray[np.int_]
) -> float:
    """Share of pixels whose contrast a curve would flatten.

    The range in use is cut into 128 equal segments. A segment is flat if the curve rises in it by less than
    a twentieth of its average rise, or turns back. Pixels that all share the one value at the end of the
    range were saturated before and lose nothing.

    Parameters
    ----------
    curve : callable
        Maps values to output, over the values of `table`.
    table : ndarray, shape (N,)
        Value of each stored level.
    counts : ndarray of int, shape (N,)
        Pixels at each stored level.

    Returns
    -------
    float
        0..1; 1 if the curve is constant.
    """
    used = counts > 0
    low, high = float(table[used].min()), float(table[used].max())
    if not high > low:
        return 1.0
    knots = np.linspace(low, high, _SEGMENTS + 1)
    rise = np.diff(curve(knots))
    total = float(rise.sum())
    if total == 0:
        return 1.0
    flat = rise / total * _SEGMENTS < FLAT_SLOPE
    segment = np.clip(((table - low) / (high - low) * _SEGMENTS).astype(int), 0, _SEGMENTS - 1)
    inner = used & (table > low) & (table < high)
    return float(counts[inner & flat[segment]].sum()) / float(counts.sum())
