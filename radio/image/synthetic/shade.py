"""Everything in the beam, added up ray by ray."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.build import Scene
from radio.image.synthetic.jaw import add_block, add_jaw
from radio.image.synthetic.metal import add_metalwork, add_root_filling
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.paths import PathLengths, open_field
from radio.image.synthetic.projection import View
from radio.image.synthetic.tooth_shade import ToothMaps, tooth_maps

FloatArray = npt.NDArray[np.float64]


def _add_tooth(paths: PathLengths, maps: ToothMaps) -> None:
    """Add one tooth's hard tissue and pulp; an access opening takes its share of all of them."""
    left = 1 - np.minimum(maps.access, maps.solid) / np.maximum(maps.solid, 1e-3)
    enamel, cavity = maps.enamel * left, maps.cavity * left
    paths.flat("enamel")[:] += enamel
    paths.flat("dentine")[:] += np.maximum(maps.solid * left - enamel - cavity, 0)
    paths.flat("soft tissue")[:] += cavity


def _beside(view: View, turn: FloatArray, place_mm: FloatArray) -> View:
    """Return the same beam as seen from the frame of a neighbouring tooth."""
    return View(view.rotation @ turn, view.shift_mm + view.rotation @ place_mm, view.source_mm)


def trace_rays(scene: Scene, p: Parameters) -> PathLengths:
    """Path lengths of everything in the beam."""
    rng = np.random.default_rng([p.nuisance_seed, 2])
    grid = scene.grid
    paths = PathLengths(grid)
    socket, lamina = open_field(grid), open_field(grid)
    teeth = [(scene.tooth, scene.view, bool(scene.files))]
    teeth += [(tooth, _beside(scene.view, turn, place), False) for tooth, turn, place in scene.neighbours]
    for number, (tooth, view, opened) in enumerate(teeth):
        maps = tooth_maps(tooth, view, grid, opened=opened)
        _add_tooth(paths, maps)
        socket += maps.socket
        lamina += maps.lamina
        if p.neighbour_filled and number == 1:
            for canal in (canal for row in tooth.canals for canal in row):
                add_root_filling(paths, canal, view)
    if p.extracted:
        add_block(paths, p)
    else:
        add_jaw(paths, socket, lamina, scene, p, rng)
    add_metalwork(paths, scene, p, rng)
    return paths
