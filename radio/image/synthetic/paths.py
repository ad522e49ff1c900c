"""Millimetres of each material along each ray."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.attenuation import linear_attenuation_per_mm, spectrum_weights
from radio.image.synthetic.projection import Grid
from radio.image.synthetic.tubes import Float32Array, IntArray


@dataclass(eq=False)
class PathLengths:
    """Path lengths pixel by pixel, and transmitted shares of finely sampled metal.

    Parameters
    ----------
    grid : Grid
        Detector pixels.
    of : dict of str to ndarray of float32, shape (H, W)
        Material to path length in mm.
    metal : list of (ndarray of int, ndarray of float32 of shape (4, n))
        Flat pixel indices and the share of each energy that one piece of metal lets through, averaged over
        the pixel: the mean of an exponential is not the exponential of a mean where a thin file ends.
    """

    grid: Grid
    of: dict[str, Float32Array] = field(default_factory=dict)
    metal: list[tuple[IntArray, Float32Array]] = field(default_factory=list)

    def __getitem__(self, material: str) -> Float32Array:
        if material not in self.of:
            self.of[material] = np.zeros((self.grid.rows, self.grid.cols), dtype=np.float32)
        return self.of[material]

    def flat(self, material: str) -> Float32Array:
        """One material's map as a flat view."""
        return self[material].reshape(-1)

    def add_metal(self, index: IntArray, depth_mm: Float32Array, metal: str, instead_of: str) -> None:
        """Put a piece of metal in the place of something else.

        Parameters
        ----------
        index : ndarray of int, shape (n,)
            Flat pixel indices, each once.
        depth_mm : ndarray, shape (n, k)
            Path length at k sample points in each pixel.
        metal, instead_of : str
            Names of materials.
        """
        net = linear_attenuation_per_mm(metal) - linear_attenuation_per_mm(instead_of)
        shares = np.stack([np.exp(-np.float32(mu) * depth_mm).mean(axis=1) for mu in net])
        self.metal.append((index, shares.astype(np.float32)))


def intensity(paths: PathLengths, tube_voltage_kv: float) -> Float32Array:
    """Return the transmitted share of the open beam, shape (H, W): Beer-Lambert at four energies."""
    import cv2

    total = np.zeros((paths.grid.rows, paths.grid.cols), dtype=np.float32)
    for number, weight in enumerate(spectrum_weights(tube_voltage_kv)):
        depth = np.zeros_like(total)
        for material, length in paths.of.items():
            depth -= np.float32(linear_attenuation_per_mm(material)[number]) * length
        share = cv2.exp(depth)
        for index, through in paths.metal:
            share.reshape(-1)[index] *= through[number]
        total += np.float32(weight) * share
    return total


def open_field(grid: Grid) -> npt.NDArray[np.float32]:
    """Make a flat map of zeros."""
    return np.zeros(grid.rows * grid.cols, dtype=np.float32)
