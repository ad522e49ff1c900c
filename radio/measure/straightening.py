"""How much a canal's length can shrink while it straightens: geometry of the walls, and no prediction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.instruments import HandFile
from radio.errors import PeriapicalError
from radio.measure.taut import TautPath, crossings, shortest_path
from radio.trace.curve import arc_length, cumulative_length, normals

FloatArray = npt.NDArray[np.float64]

# Names of the three corridors.
TRACED, CENTRED, LEANING = "traced", "centred", "leaning"
# A wall on the inner side of a bend is taken to lie no farther than this share of the way to its centre.
_SHARE_OF_RADIUS = 0.95


@dataclass(frozen=True, eq=False)
class Way:
    """The shortest way of an instrument's axis through one corridor.

    Parameters
    ----------
    left_mm, right_mm : ndarray, shape (N, 2)
        Walls of the canal, the instrument's radius not yet taken off.
    path : TautPath
        Of the instrument's axis.
    shrink_mm : float
        Length of the centre line less that of the path.
    """

    left_mm: FloatArray
    right_mm: FloatArray
    path: TautPath
    shrink_mm: float


@dataclass(frozen=True, eq=False)
class Straightening:
    """Shortest ways through a canal as traced and as prepared.

    Parameters
    ----------
    centre_mm : ndarray, shape (N, 2)
        Centre line.
    length_mm : float
        Its length.
    ways : mapping of str to Way
        ``"traced"``: the canal as traced. ``"centred"``: together with a file's shape about the centre line.
        ``"leaning"``: together with that shape about the taut path of the canal as traced. The latter two
        only where a file was given.
    narrowed : bool
        Whether a wall inside a bend sharper than the canal is wide was drawn closer, which makes the ways
        longer.
    """

    centre_mm: FloatArray
    length_mm: float
    ways: Mapping[str, Way]
    narrowed: bool


def straightening(
    centre_mm: FloatArray,
    left_mm: npt.ArrayLike,
    right_mm: npt.ArrayLike,
    *,
    measuring: HandFile | None = None,
    prepared: HandFile | None = None,
) -> Straightening:
    """Compare the centre line of a canal with the shortest way an instrument could take inside it.

    A length read along the centre line cannot shrink by more than the difference, as long as the canal has
    these walls: whatever the instrument does, its axis stays between them, less its radius. Both ends of the
    way are free across the canal. A length read on an instrument that lay along the outer walls could shrink
    by more; what happens above the orifice is not counted.

    Parameters
    ----------
    centre_mm : ndarray, shape (N, 2)
        Evenly spaced points from orifice to end, N at least 3.
    left_mm, right_mm : array_like, shape (N,) or float
        Half-widths across it, on the side of :func:`radio.trace.curve.normals` and on the other.
    measuring : HandFile, optional
        The instrument the length is read on, its tip at the end of the line, of circular section; without it
        a thread, whose way is the shortest of all.
    prepared : HandFile, optional
        The file a canal is widened with, its tip at the end of the line: circular section, D0 + taper x.
        Where its shape is narrower than the canal, the canal stays as it is.

    Returns
    -------
    Straightening

    Raises
    ------
    PeriapicalError
        The line has too few points, or a half-width is below 0, no number, or not one a point.
    """
    centre, halves = _checked(centre_mm, left_mm, right_mm)
    from_end = arc_length(centre) - cumulative_length(centre)
    radius = np.zeros(len(centre)) if measuring is None else 0.5 * measuring.diameter_mm(from_end.clip(0))
    canals = {TRACED: (-halves[1], halves[0])}
    ways: dict[str, Way] = {}
    traced, taut, narrowed = _way(centre, canals[TRACED], radius)
    ways[TRACED] = traced
    if prepared is not None:
        cut = 0.5 * prepared.diameter_mm(from_end.clip(0))
        low, high = canals[TRACED]
        for name, about in ((CENTRED, np.zeros(len(centre))), (LEANING, taut)):
            shape = np.minimum(low, about - cut), np.maximum(high, about + cut)
            ways[name], _, more = _way(centre, shape, radius)
            narrowed = narrowed or more
    return Straightening(centre, arc_length(centre), ways, narrowed)


def _checked(
    centre_mm: FloatArray, left_mm: npt.ArrayLike, right_mm: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    centre = np.asarray(centre_mm, dtype=np.float64)
    if centre.ndim != 2 or centre.shape[1] != 2 or len(centre) < 3 or not np.isfinite(centre).all():
        raise PeriapicalError(
            f"The centre line has the shape {centre.shape}; give three or more finite points, (N, 2)."
        )
    halves = []
    for name, given in (("left", left_mm), ("right", right_mm)):
        half = np.asarray(given, dtype=np.float64)
        if half.shape not in ((), (len(centre),)) or not (half >= 0).all() or not np.isfinite(half).all():
            raise PeriapicalError(
                f"The half-widths to the {name} are not {len(centre)} finite numbers of 0 mm or more, one "
                "for each point of the centre line."
            )
        halves.append(np.broadcast_to(half, (len(centre),)))
    return centre, np.stack(halves)


def _way(
    centre: FloatArray, canal: tuple[FloatArray, FloatArray], radius: FloatArray
) -> tuple[Way, FloatArray, bool]:
    """The way through a canal given by its walls' offsets; the way's own offsets; whether it was narrowed."""
    across = normals(centre)
    limits = _limits(centre, across)
    low, high = (np.clip(wall, *limits) for wall in canal)
    narrowed = bool(((low != canal[0]) | (high != canal[1])).any())
    room_low, room_high = low + radius, high - radius
    # where an instrument is thicker than the canal it is held in its middle
    tight = room_low > room_high
    middle = 0.5 * (low + high)
    room_low, room_high = np.where(tight, middle, room_low), np.where(tight, middle, room_high)
    left, right = (centre + wall[:, None] * across for wall in (room_high, room_low))
    path = shortest_path(left, right)
    own = room_low + crossings(path, left, right) * (room_high - room_low)
    walls = [centre + wall[:, None] * across for wall in (high, low)]
    return Way(walls[0], walls[1], path, arc_length(centre) - path.length), own, narrowed


def _limits(centre: FloatArray, across: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far aside the walls may lie, so that the lines across the canal do not meet between them."""
    step = np.diff(centre, axis=0)
    here, ahead = across[:-1], across[1:]
    turn = here[:, 0] * ahead[:, 1] - here[:, 1] * ahead[:, 0]
    low, high = np.full(len(centre), -np.inf), np.full(len(centre), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_here = (step[:, 0] * ahead[:, 1] - step[:, 1] * ahead[:, 0]) / turn
        at_ahead = (step[:, 0] * here[:, 1] - step[:, 1] * here[:, 0]) / turn
    for part, meets in ((slice(None, -1), at_here), (slice(1, None), at_ahead)):
        near = np.where(np.isfinite(meets), _SHARE_OF_RADIUS * meets, np.inf)
        high[part] = np.minimum(high[part], np.where(near > 0, near, np.inf))
        low[part] = np.maximum(low[part], np.where(near <= 0, near, -np.inf))
    return low, high
