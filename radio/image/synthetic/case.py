"""One synthetic radiograph with what a user would state and click, and the exact truth."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from calib.dicom_spacing import SpacingFacts
from radio.image.radiograph import Radiograph
from radio.image.synthetic.build import Scene, build_scene
from radio.image.synthetic.curves import arc_length, at_length
from radio.image.synthetic.detector import add_dust, develop, expose, film_mask, store
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.instrument import HandFile
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.paths import intensity
from radio.image.synthetic.shade import trace_rays
from radio.image.synthetic.truth import Truth, truth_of_canal
from radio.measure.case import CaseFacts

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class SyntheticCanal:
    """One canal of a synthetic radiograph: what is stated, clicked, and true."""

    facts: CaseFacts
    clicks: dict[str, FloatArray]
    truth: Truth


@dataclass(frozen=True, eq=False)
class SyntheticCase:
    """A synthetic radiograph.

    Parameters
    ----------
    image : ndarray of uint8 or uint16, shape (H, W)
        Values as stored, in the image's own polarity.
    bits_stored : int
        Significant bits.
    photometric : {"MONOCHROME1", "MONOCHROME2"}
        Polarity: MONOCHROME1 stores radiopaque structures with low values.
    film : ndarray of bool, shape (H, W)
        Exposed area.
    facts, clicks, truth
        Of the canal of interest.
    others : tuple of SyntheticCanal
        Other canals with a file of their own on the same image.
    parameters : Parameters
        Everything that was drawn.
    spacing : SpacingFacts
        What a DICOM header would say about pixel size.
    """

    image: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
    bits_stored: int
    photometric: Literal["MONOCHROME1", "MONOCHROME2"]
    film: BoolArray
    facts: CaseFacts
    clicks: dict[str, FloatArray]
    truth: Truth
    others: tuple[SyntheticCanal, ...]
    parameters: Parameters
    spacing: SpacingFacts = field(default_factory=SpacingFacts)

    @property
    def grey(self) -> Radiograph:
        """The radiograph as its reader would return it, with the true film area and without the disk."""
        from radio.image.film import scale_to_grey

        value = self.image
        if self.photometric == "MONOCHROME1":
            value = (2**self.bits_stored - 1) - value
        grey, note = scale_to_grey(value, self.film)
        for array in (grey, self.image, self.film):
            array.flags.writeable = False
        return Radiograph(
            grey=grey,
            film=self.film,
            stored=self.image,
            bits_stored=self.bits_stored,
            sha256=hashlib.sha256(self.image.tobytes()).hexdigest(),
            path=None,
            file_format="DICOM",
            spacing=self.spacing,
            header={"photometric interpretation": self.photometric},
            history=("synthetic", note),
        )


def _spread(line_px: FloatArray, count: int) -> FloatArray:
    """Points at equal steps along a line, its ends left out."""
    total = arc_length(line_px)[-1]
    return at_length(line_px, np.arange(1, count + 1) / (count + 1) * total)


def rough_clicks(truth: Truth, p: Parameters, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Give the clicks a person might: the true landmarks scattered by `p.click_sd_mm` along each axis.

    Returns
    -------
    dict of str to ndarray, shape (K, 2)
        Landmark to points (row, col).
    """
    bent = p.canal_form in ("s", "continuous") or p.turn_deg > 20
    exact: dict[str, FloatArray] = {"orifice": truth.orifice_px[None]}
    exact["canal_via"] = _spread(truth.canal_axis_px, 3 if bent else 2)
    if truth.file_axis_px is not None:
        exact["file_start"] = truth.file_axis_px[:1]
        exact["file_via"] = _spread(truth.file_axis_px, 3 if bent else 1)
        exact["file_tip"] = truth.file_axis_px[-1:]
    if p.click_canal_end:
        exact["canal_end"] = truth.canal_end_px[None]
    exact["apex"] = truth.apex_px[None]
    exact["reference"] = truth.reference_px[None]
    if truth.ball_centre_px is not None:
        exact["ball_centre"] = truth.ball_centre_px[None]
    sd_px = p.click_sd_mm / truth.mm_per_px
    return {name: points + rng.normal(0, sd_px, points.shape) for name, points in exact.items()}


def _facts(p: Parameters, truth: Truth, file: HandFile | None, label: str, start_at: str) -> CaseFacts:
    if truth.file_length_mm is not None:
        source: Literal["file", "ball", "dicom"] = "file"
    else:
        source = "ball" if p.ball_diameter_mm is not None else "dicom"
    return CaseFacts(
        canal=label,
        tooth=p.tooth,
        view="straight",
        scale_from=source,
        file_length_mm=None if truth.file_length_mm is None else round(truth.file_length_mm, 3),
        file_start_at="handle" if start_at == "handle" else "stop",
        file_size=None if file is None else file.size,
        ball_diameter_mm=p.ball_diameter_mm,
    )


def render(
    p: Parameters, scene: Scene | None = None
) -> tuple[npt.NDArray[np.uint8] | npt.NDArray[np.uint16], BoolArray]:
    """Image as stored and exposed area for a set of parameters."""
    scene = build_scene(p) if scene is None else scene
    rng = p.exposure_rng(3, np.random.default_rng([p.nuisance_seed, 3]))
    signal = expose(intensity(trace_rays(scene, p), p.tube_voltage_kv), p, rng)
    grey = add_dust(develop(signal, p), p, rng)
    film = film_mask(p, grey.shape, rng)
    return store(grey, film, p), film


def make_case(rng: np.random.Generator | int, **overrides: Any) -> SyntheticCase:
    """Draw and render one synthetic radiograph.

    Parameters
    ----------
    rng : numpy.random.Generator or int
        Generator, or a seed for one; the same seed and overrides give the same case.
    **overrides
        Fields of `Parameters` to fix, for instance ``file_size=None`` for an image without a file.

    Returns
    -------
    SyntheticCase

    Raises
    ------
    TypeError
        An override is not a field of `Parameters`.
    """
    return case_of(draw_parameters(rng, **overrides))


def case_of(p: Parameters) -> SyntheticCase:
    """Render one synthetic radiograph from a full set of parameters."""
    scene = build_scene(p)
    image, film = render(p, scene)
    rng = p.exposure_rng(4, np.random.default_rng([p.nuisance_seed, 4]))
    first = scene.files[0][2] if scene.files else None
    canals = []
    for number, (root, canal, file) in enumerate(scene.files or ((0, 0, first),)):
        truth = truth_of_canal(scene, p, root, canal, file)
        start_at = p.file_start_at if number == 0 else "stop"
        canals.append(
            SyntheticCanal(
                _facts(p, truth, file, str(number + 1), start_at), rough_clicks(truth, p, rng), truth
            )
        )
    return SyntheticCase(
        image=image,
        bits_stored=p.bits,
        photometric="MONOCHROME1" if p.monochrome1 else "MONOCHROME2",
        film=film,
        facts=canals[0].facts,
        clicks=canals[0].clicks,
        truth=canals[0].truth,
        others=tuple(canals[1:]),
        parameters=p,
        spacing=SpacingFacts(imager_mm=(p.pitch_mm, p.pitch_mm), intra_oral=True),
    )
