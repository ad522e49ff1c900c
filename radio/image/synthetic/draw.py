"""How widely the parameters of synthetic radiographs are drawn."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from radio.image.synthetic.parameters import Parameters

TOOTH_NUMBERS: dict[str, tuple[str, ...]] = {
    "upper_incisor": ("11", "12", "21", "22"),
    "lower_incisor": ("31", "32", "41", "42"),
    "canine": ("13", "23", "33", "43"),
    "premolar": ("14", "15", "24", "25", "34", "35", "44", "45"),
    "lower_molar": ("36", "37", "46", "47"),
    "upper_molar": ("16", "17", "26", "27"),
}


def _pick(rng: np.random.Generator, *options: Any, p: tuple[float, ...] | None = None) -> Any:
    return options[int(rng.choice(len(options), p=p))]


def _anatomy(rng: np.random.Generator) -> dict[str, Any]:
    kind = _pick(rng, *TOOTH_NUMBERS, p=(0.13, 0.07, 0.1, 0.25, 0.27, 0.18))
    form = _pick(rng, "straight", "apical", "continuous", "s", p=(0.2, 0.35, 0.3, 0.15))
    if form == "s":
        turn, second = rng.uniform(14, 32), rng.uniform(16, 38)
    else:
        turn = rng.uniform(0, 5) if form == "straight" else rng.uniform(8, 50 if form == "apical" else 42)
        second = 0.0
    molar = kind.endswith("molar")
    return {
        "kind": kind,
        "tooth": _pick(rng, *TOOTH_NUMBERS[kind]),
        "size_scale": float(np.clip(rng.normal(1.0, 0.06), 0.88, 1.12)),
        "canal_form": form,
        "turn_deg": float(turn),
        "second_turn_deg": float(second),
        "curve_length_mm": float(rng.uniform(3.5, 7.0)),
        "curve_plane_deg": float(rng.choice([0.0, 180.0]) + np.clip(rng.normal(0, 18), -40, 40)),
        "canal_apical_diameter_mm": float(rng.uniform(0.12, 0.30) if molar else rng.uniform(0.15, 0.45)),
        "canal_taper": float(rng.uniform(0.015, 0.05)),
        "canal_flare_mm": float(rng.uniform(0.1, 0.8)),
        "canal_depth_ratio": float(rng.uniform(1.0, 2.2)),
        "foramen_offset_mm": float(np.clip(abs(rng.normal(0, 0.22)), 0.0, 0.5)),
        "foramen_direction_deg": float(rng.uniform(0, 360)),
        "canals_in_root": int(kind in ("premolar", "lower_molar", "lower_incisor") and rng.random() < 0.4)
        + 1,
        "neighbour_gap_mm": float(rng.uniform(-1.2, 1.0)),
        "neighbour_filled": bool(rng.random() < 0.2),
        "restoration": bool(rng.random() < 0.25),
        "bone_depth_mm": float(rng.uniform(8, 14)),
        "cortical_mm": float(rng.uniform(1.4, 3.2)),
        "trabecular_share": float(rng.uniform(0.16, 0.36)),
        "texture_mm": float(rng.uniform(0.5, 1.0)),
        "soft_mm": float(rng.uniform(6, 16)),
    }


def _instruments(rng: np.random.Generator, with_file: bool) -> dict[str, Any]:
    size = _pick(rng, 6, 8, 10, 15, 20, 25, 30, 35, 40, p=(0.05, 0.1, 0.2, 0.25, 0.14, 0.1, 0.06, 0.05, 0.05))
    return {
        "file_size": size if with_file else None,
        "file_start_at": _pick(rng, "stop", "handle", p=(0.8, 0.2)),
        "gap_mm": float(rng.uniform(-1.5, 0.0) if rng.random() < 0.2 else rng.uniform(0.0, 3.5)),
        "file_section": _pick(rng, "square", "round", p=(0.75, 0.25)),
        "file_metal": _pick(rng, "steel", "nickel-titanium", p=(0.85, 0.15)),
        "twist_per_mm": float(rng.uniform(1.0, 2.2)),
        "second_file_size": _pick(rng, 8, 10, 15, 20) if with_file and rng.random() < 0.25 else None,
        "stop_radius_mm": float(rng.uniform(1.4, 2.1)),
        "stop_thickness_mm": float(rng.uniform(0.9, 1.6)),
        "stop_tilt_deg": float(np.clip(rng.normal(0, 4), -10, 10)),
        "stop_opacity": float(rng.uniform(0.8, 2.5)),
        "ball_diameter_mm": float(_pick(rng, 3.0, 4.0, 5.0, 5.0))
        if rng.random() < (0.15 if with_file else 0.7)
        else None,
        "clamp": bool(with_file and rng.random() < 0.25),
    }


def _exposure(rng: np.random.Generator) -> dict[str, Any]:
    plate = rng.random() < 0.4
    pitch = float(rng.uniform(0.025, 0.060) if plate else rng.uniform(0.0185, 0.040))
    quarter = float(rng.choice([0.0, 90.0, 180.0, 270.0], p=[0.45, 0.1, 0.35, 0.1]))
    free = float(rng.uniform(0, 360)) if rng.random() < 0.1 else float(np.clip(rng.normal(0, 7), -20, 20))
    return {
        "source_distance_mm": float(rng.uniform(200, 406)),
        "object_distance_mm": float(rng.uniform(8, 22)),
        "vertical_tilt_deg": float(np.clip(rng.normal(0, 3.5), -12, 12)),
        "horizontal_tilt_deg": float(np.clip(rng.normal(0, 9), -25, 25)),
        "beam_u_deg": float(np.clip(rng.normal(0, 4), -12, 12)),
        "beam_v_deg": float(np.clip(rng.normal(0, 4), -12, 12)),
        "rotation_deg": quarter + free,
        "mirror": bool(rng.random() < 0.5),
        "pitch_mm": pitch,
        "detector_long_mm": float(rng.uniform(36, 41)),
        "detector_short_mm": float(rng.uniform(24, 31)),
        "portrait": bool(quarter in (0.0, 180.0)) != bool(rng.random() < 0.05),
        "tube_voltage_kv": float(rng.uniform(60, 70)),
        "photons_per_px": float(np.exp(rng.uniform(np.log(1.5e6), np.log(2.5e7))) * pitch**2),
        "electronic_noise": float(rng.uniform(0.5, 4.0) * 1e-3),
        "noise_blur_px": float(rng.uniform(0.3, 0.9)),
        "fixed_pattern": float(rng.uniform(0.001, 0.006)),
        "blur_mm": float(rng.uniform(0.03, 0.085)),
        "veil": float(rng.uniform(0.002, 0.02)),
        "contrast": float(rng.uniform(2.6, 4.2)),
        "black_point": float(rng.uniform(-0.1, 0.3)),
        "gamma": float(rng.uniform(0.75, 1.3)),
        "unsharp": float(rng.uniform(0.0, 1.2)),
        "local_contrast": float(rng.uniform(0.0, 0.5)) if rng.random() < 0.5 else 0.0,
        "dust": int(rng.integers(4, 25)) if plate else int(rng.integers(0, 4)),
        "padding": _pick(rng, "none", "white", "black", p=(0.1, 0.5, 0.4)) if plate else _pick(
            rng, "none", "white", "black", p=(0.7, 0.1, 0.2)),
        "bits": int(_pick(rng, 8, 10, 12, 14, 16)),
        "monochrome1": bool(rng.random() < 0.3),
    }  # fmt: skip


def draw_parameters(rng: np.random.Generator | int, **overrides: Any) -> Parameters:
    """Draw the parameters of one radiograph, widely.

    Kinds of teeth, forms and degrees of curvature, file sizes, gaps from 1.5 mm beyond to 3.5 mm short of the
    apex, projection, receptor, exposure and processing are all drawn. The ranges are chosen to be at least as
    wide as what a practice sees (no published distribution of all of them together exists). About two in
    three radiographs have a file.

    Parameters
    ----------
    rng : numpy.random.Generator or int
        Generator, or a seed for one.
    **overrides
        Fields of `Parameters` to fix. Everything else is drawn as if nothing had been fixed, so fixing one
        field does not change the others.

    Returns
    -------
    drawn : Parameters
        All fields.

    Raises
    ------
    TypeError
        An override is not a field of `Parameters`.
    ValueError
        An override has a value the generator cannot build.
    """
    known = {field.name for field in fields(Parameters)}
    unknown = sorted(set(overrides) - known)
    if unknown:
        raise TypeError(f"{unknown[0]!r} is no parameter; the parameters are: {', '.join(sorted(known))}.")
    generator = np.random.default_rng(rng)
    drawn: dict[str, Any] = {"nuisance_seed": int(generator.integers(2**31))}
    drawn.update(_anatomy(generator))
    with_file = bool(generator.random() < 0.67)
    drawn.update(_instruments(generator, with_file))
    drawn.update(_exposure(generator))
    drawn["click_canal_end"] = bool(generator.random() < 0.7)
    chosen = Parameters(**drawn)
    if "kind" in overrides and "tooth" not in overrides:
        overrides["tooth"] = TOOTH_NUMBERS.get(overrides["kind"], ("",))[0]
    return replace(chosen, **overrides)
