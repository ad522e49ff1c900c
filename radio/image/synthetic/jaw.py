"""What lies about the teeth: jaw bone and soft tissue, or a block of resin about an extracted tooth."""

from __future__ import annotations

import numpy as np

from radio.image.synthetic.bone import smooth_noise, trabecular_texture
from radio.image.synthetic.build import Scene
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.paths import PathLengths
from radio.image.synthetic.tubes import Float32Array


def tooth_coordinates(scene: Scene) -> tuple[Float32Array, Float32Array]:
    """Place (x, z) in the tooth frame that each pixel looks at, in the plane of the tooth axis, mm."""
    grid, view = scene.grid, scene.view
    origin, right, down = view.project(np.array([[0.0, 0, 0], [1.0, 0, 0], [0, 0, 1.0]]))
    inverse = np.linalg.inv(np.column_stack([right - origin, down - origin])).astype(np.float32)
    v = (np.arange(grid.rows) - (grid.rows - 1) / 2) * grid.pitch_mm - origin[1]
    u = (np.arange(grid.cols) - (grid.cols - 1) / 2) * grid.pitch_mm - origin[0]
    u, v = u.astype(np.float32)[None, :], v.astype(np.float32)[:, None]
    return inverse[0, 0] * u + inverse[0, 1] * v, inverse[1, 0] * u + inverse[1, 1] * v


def _bone_depth(
    scene: Scene, p: Parameters, x: Float32Array, z: Float32Array, rng: np.random.Generator
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Depth of the jaw bone in the beam, its share near the crest, and the height of the crest.

    The crest peaks between teeth and has a buccal and a lingual edge at heights of their own, so its border
    on the image is soft.
    """
    between = scene.tooth.kind.crown_half_width_mm * scene.tooth.scale + p.neighbour_gap_mm / 2
    septum = np.exp(-(((np.abs(x) - between) / 1.6) ** 2))
    level, slope = rng.uniform(0.9, 2.6), rng.normal(0, 0.05)
    crest = level + slope * x + rng.uniform(0.3, 0.9) * (1 - septum)
    amount = np.zeros_like(x)
    for share, lower, run in (
        (0.55, 0.0, rng.uniform(0.8, 1.6)),
        (0.45, rng.uniform(0.3, 1.6), rng.uniform(1.2, 2.6)),
    ):
        into = np.clip((z - crest - np.float32(lower)) / np.float32(run), 0, 1)
        amount += np.float32(share) * into * into * (3 - 2 * into)
    growth = np.float32(p.bone_depth_mm) + np.float32(0.22) * np.clip(z - crest, 0, 18)
    return (growth * amount).astype(np.float32), amount.astype(np.float32), crest.astype(np.float32)


def _landmark_line(x: Float32Array, z: Float32Array, rng: np.random.Generator) -> Float32Array:
    """Draw a faint dense line across the jaw: sinus floor, oblique ridge or nerve canal wall."""
    height = (
        rng.uniform(9.0, 22.0)
        + rng.normal(0, 0.25) * x
        + 1.2 * np.cos(x / rng.uniform(5, 9) + rng.uniform(0, 6))
    )
    return np.asarray(
        rng.uniform(0.5, 2.0) * np.exp(-(((z - height) / rng.uniform(0.25, 0.7)) ** 2)), np.float32
    )


def add_jaw(
    paths: PathLengths,
    socket_mm: Float32Array,
    lamina_mm: Float32Array,
    scene: Scene,
    p: Parameters,
    rng: np.random.Generator,
) -> None:
    """Put bone and soft tissue into the beam.

    Parameters
    ----------
    paths : PathLengths
        Changed in place.
    socket_mm, lamina_mm : ndarray of float32, shape (H * W,)
        Depth taken by roots with their ligament, and by the lamina dura about them.
    scene : Scene
        What stands in the beam.
    p : Parameters
        Bone and soft tissue.
    rng : numpy.random.Generator
        Source of chance.
    """
    grid = scene.grid
    shape = (grid.rows, grid.cols)
    x, z = tooth_coordinates(scene)
    deep, amount, crest = _bone_depth(scene, p, x, z, rng)
    socket = np.minimum(socket_mm.reshape(shape), deep)
    lamina = np.minimum(lamina_mm.reshape(shape), 4.0) * amount
    plates = np.minimum(np.float32(p.cortical_mm) * (0.75 + 0.05 * np.clip(z - crest, 0, 12)) * amount, deep)
    if rng.random() < 0.5:
        plates = plates + _landmark_line(x, z, rng) * amount
    spongy = np.maximum(deep - socket - lamina - plates, 0)
    # bone seen from another side is another texture
    texture_rng = p.exposure_rng(2, rng)
    texture = trabecular_texture(texture_rng, shape, grid.pitch_mm, p.texture_mm)
    mineral = np.minimum(spongy * np.float32(p.trabecular_share) * texture, spongy)
    paths["cortical bone"][:] += plates + lamina * np.float32(0.85) + mineral
    gum = np.clip((z - crest + np.float32(rng.uniform(2.0, 4.0))) / np.float32(2.5), 0, 1)
    cheek = p.soft_mm * np.maximum(1 + 0.10 * smooth_noise(texture_rng, shape, grid.pitch_mm, 14.0), 0.3)
    paths["soft tissue"][:] += (cheek + 4.0 * gum + spongy - mineral).astype(np.float32)


def add_block(paths: PathLengths, p: Parameters) -> None:
    """Put a block of resin into the beam about an extracted tooth; it absorbs as soft tissue does.

    Parameters
    ----------
    paths : PathLengths
        Changed in place.
    p : Parameters
        Its depth is `soft_mm`.
    """
    paths["soft tissue"][:] += np.float32(p.soft_mm)
