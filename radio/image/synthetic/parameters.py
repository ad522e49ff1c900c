"""What fixes one synthetic radiograph."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# ISO 3630-1 sizes of hand files the generator knows
SIZES = (6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60)
_CHOICES: dict[str, tuple[object, ...]] = {
    "kind": ("upper_incisor", "lower_incisor", "canine", "premolar", "lower_molar", "upper_molar"),
    "canal_form": ("straight", "apical", "continuous", "s"),
    "canals_in_root": (1, 2),
    "file_size": (None, *SIZES),
    "second_file_size": (None, *SIZES),
    "file_start_at": ("stop", "handle"),
    "file_section": ("square", "round"),
    "file_metal": ("steel", "nickel-titanium"),
    "padding": ("none", "white", "black"),
    "bits": tuple(range(8, 17)),
}
_RANGES: dict[str, tuple[float, float]] = {
    "size_scale": (0.7, 1.3),
    "turn_deg": (0, 80),
    "second_turn_deg": (0, 80),
    "curve_length_mm": (2, 9),
    "canal_apical_diameter_mm": (0.05, 1.0),
    "foramen_offset_mm": (0, 0.6),
    "gap_mm": (-3, 8),
    "ball_diameter_mm": (0.5, 10),
    "source_distance_mm": (150, 1000),
    "object_distance_mm": (2, 60),
    "vertical_tilt_deg": (-40, 40),
    "horizontal_tilt_deg": (-90, 90),
    "beam_u_deg": (-30, 30),
    "beam_v_deg": (-30, 30),
    "pitch_mm": (0.01, 0.2),
    "detector_long_mm": (20, 80),
    "detector_short_mm": (15, 80),
    "tube_voltage_kv": (55, 75),
    "photons_per_px": (1, float("inf")),
    "contrast": (0.5, 10),
    "gamma": (0.3, 3),
    "click_sd_mm": (0, 2),
}
# Turned further than this, neighbours and jaw cannot be shown: they would lie in the beam.
_LARGEST_TURN_IN_JAW_DEG = 60


@dataclass(frozen=True)
class Parameters:
    """Everything that fixes a synthetic radiograph; equal parameters give an equal image.

    Lengths in mm, angles in degrees.

    Parameters
    ----------
    nuisance_seed : int
        Seed of what is not a parameter of its own: details of the tooth, neighbours, textures, noise, dust,
        clicks.
    kind, tooth : str
        Kind of tooth (a key of `radio.image.synthetic.draw.TOOTH_NUMBERS`) and its ISO 3950 number.
    size_scale : float
        Size of the tooth over the mean.
    canal_form : {"straight", "apical", "continuous", "s"}
        Where the canal bends.
    turn_deg, second_turn_deg, curve_length_mm, curve_plane_deg : float
        Turning of the bend, of an opposite second one, length of the apical bend, plane of bending.
    canal_apical_diameter_mm, canal_taper, canal_flare_mm, canal_depth_ratio : float
        Section of the canal: diameter at its end, growth per mm, widening at the orifice, depth over width.
    foramen_offset_mm, foramen_direction_deg : float
        How far and in which direction beside the root's axis the canal leaves.
    canals_in_root : int
        1 or 2 canals side by side in the root of interest.
    file_size : int or None
        ISO 3630-1 size; None for a diagnostic image without a file.
    file_start_at : {"stop", "handle"}
        Where the known length begins.
    gap_mm : float
        Wanted distance from tip to radiographic apex; met to a quarter of a millimetre, because file
        lengths are whole half millimetres ("stop") or standard lengths ("handle").
    file_section, file_metal : str
        "square" or "round"; "steel" or "nickel-titanium".
    twist_per_mm : float
        Quarter turns a millimetre of the square section.
    second_file_size : int or None
        File in the other canal of the root, or of another root.
    stop_radius_mm, stop_thickness_mm, stop_tilt_deg, stop_opacity : float
        The stop; its absorption over that of plain silicone
        (the handle's grows with it).
    ball_diameter_mm : float or None
        Steel ball beside the tooth.
    source_distance_mm, object_distance_mm : float
        Source to detector, tooth axis to detector.
    vertical_tilt_deg, horizontal_tilt_deg : float
        Tooth against the detector: lean of the long axis, turn about it. In the jaw at most 60 degrees of
        turn.
    beam_u_deg, beam_v_deg : float
        Direction of the source from the detector normal.
    rotation_deg, mirror : float, bool
        Turn in the image plane (0 = crown above root) and mirror image.
    pitch_mm, detector_long_mm, detector_short_mm : float
        Receptor.
    portrait : bool
        Long side along the rows.
    neighbour_gap_mm : float
        Space between crowns; negative values make neighbours overlap.
    neighbour_filled, restoration, clamp : bool
        Root filling in a neighbour, metal in the crown, clamp over the tooth.
    bone_depth_mm, cortical_mm, trabecular_share, texture_mm : float
        Bone: depth in the beam, both plates together, mineral share, size of the marrow spaces.
    soft_mm : float
        Soft tissue in the beam.
    tube_voltage_kv, photons_per_px, electronic_noise, noise_blur_px, fixed_pattern : float
        Exposure and noise.
    blur_mm : float
        Standard deviation of receptor and focal-spot blur together.
    veil : float
        Scatter as a share of the open beam.
    contrast : float
        Optical depth shown from black to white.
    black_point : float
        Optical depth shown black.
    gamma, unsharp, local_contrast : float
        Display processing.
    dust : int
        Number of dust specks and scratches.
    padding : {"none", "white", "black"}
        What lies round a film with rounded corners.
    bits : int
        Significant bits of a stored value.
    monochrome1 : bool
        Stored with high values dark.
    click_sd_mm : float
        Scatter of the clicks, standard deviation along each axis.
    click_canal_end : bool
        Whether the canal end is clicked beside the apex.
    extracted : bool
        The tooth alone in a block of resin as deep as `soft_mm`, without neighbours and jaw.
    exposure_seed : int or None
        Seed of what is of one exposure alone: place on the detector, bone texture, noise, dust, clicks.
        Two views of one tooth share all that makes up the tooth, and differ in this. None: drawn from
        `nuisance_seed`.

    Raises
    ------
    ValueError
        A value is not one the generator can build; the text names it and what is allowed.
    """

    nuisance_seed: int
    kind: str
    tooth: str
    size_scale: float
    canal_form: str
    turn_deg: float
    second_turn_deg: float
    curve_length_mm: float
    curve_plane_deg: float
    canal_apical_diameter_mm: float
    canal_taper: float
    canal_flare_mm: float
    canal_depth_ratio: float
    foramen_offset_mm: float
    foramen_direction_deg: float
    canals_in_root: int
    file_size: int | None
    file_start_at: str
    gap_mm: float
    file_section: str
    file_metal: str
    twist_per_mm: float
    second_file_size: int | None
    stop_radius_mm: float
    stop_thickness_mm: float
    stop_tilt_deg: float
    stop_opacity: float
    ball_diameter_mm: float | None
    source_distance_mm: float
    object_distance_mm: float
    vertical_tilt_deg: float
    horizontal_tilt_deg: float
    beam_u_deg: float
    beam_v_deg: float
    rotation_deg: float
    mirror: bool
    pitch_mm: float
    detector_long_mm: float
    detector_short_mm: float
    portrait: bool
    neighbour_gap_mm: float
    neighbour_filled: bool
    restoration: bool
    clamp: bool
    bone_depth_mm: float
    cortical_mm: float
    trabecular_share: float
    texture_mm: float
    soft_mm: float
    tube_voltage_kv: float
    photons_per_px: float
    electronic_noise: float
    noise_blur_px: float
    fixed_pattern: float
    blur_mm: float
    veil: float
    contrast: float
    black_point: float
    gamma: float
    unsharp: float
    local_contrast: float
    dust: int
    padding: str
    bits: int
    monochrome1: bool
    click_sd_mm: float = 0.2
    click_canal_end: bool = True
    extracted: bool = False
    exposure_seed: int | None = None

    def __post_init__(self) -> None:
        for name, allowed in _CHOICES.items():
            if getattr(self, name) not in allowed:
                listed = ", ".join(str(choice) for choice in allowed)
                raise ValueError(f"{name} is {getattr(self, name)!r}; allowed are {listed}.")
        for name, (low, high) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise ValueError(f"{name} is {value!r}; it must lie between {low:g} and {high:g}.")
        most = _LARGEST_TURN_IN_JAW_DEG
        if abs(self.horizontal_tilt_deg) > most and not self.extracted:
            raise ValueError(
                f"horizontal_tilt_deg is {self.horizontal_tilt_deg!r}; for a tooth in the jaw it must lie "
                f"between {-most} and {most}. Set extracted, or turn less."
            )

    def exposure_rng(self, stream: int, shared: np.random.Generator) -> np.random.Generator:
        """Source of chance for what is of one exposure alone.

        Parameters
        ----------
        stream : int
            Number of the stream, so that no two uses draw the same.
        shared : numpy.random.Generator
            What is used where the exposure has no seed of its own.
        """
        return shared if self.exposure_seed is None else np.random.default_rng([self.exposure_seed, stream])
