"""Bend of a canal in space from the two angles that two views show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.errors import PeriapicalError

FloatArray = npt.NDArray[np.float64]

# The tangent of a planar angle runs away towards 90 degrees; views nearly along one line hold no depth.
LARGEST_PLANAR_DEG = 85.0
SMALLEST_BETWEEN_DEG = 10.0

PARALLEL = "Parallel projection."


@dataclass(frozen=True)
class ResultantBend:
    """Bend in space from two planar angles.

    Parameters
    ----------
    bend_deg : float
        Angle against the common long axis, 0 to 90.
    plane_deg : float
        Direction of the bend seen along that axis, -180 to 180, from the across direction of the first view
        towards that of the second.
    sd_bend_deg, sd_plane_deg : float or None
        Standard uncertainties, None unless those of both angles were given.
    assumptions : tuple of str
    """

    bend_deg: float
    plane_deg: float
    sd_bend_deg: float | None
    sd_plane_deg: float | None
    assumptions: tuple[str, ...]


def resultant_bend(
    alpha_deg: float,
    beta_deg: float,
    *,
    between_views_deg: float = 90.0,
    sd_alpha_deg: float | None = None,
    sd_beta_deg: float | None = None,
    sd_between_deg: float = 0.0,
) -> ResultantBend:
    """Angle of a bend in space, and its plane, from the angles two views show.

    Parameters
    ----------
    alpha_deg, beta_deg : float
        Angle against the long axis in the first and the second view, positive towards across.
    between_views_deg : float
        Turn of the beam about the long axis from the first view to the second.
    sd_alpha_deg, sd_beta_deg, sd_between_deg : float, optional
        Standard uncertainties, independent of each other.

    Raises
    ------
    PeriapicalError
        An angle is outside -85 to 85 degrees, or the views are less than 10 degrees from one line.

    Notes
    -----
    A direction (1, u, v) in the tooth's frame shows tan(alpha) = u in the first view and
    tan(beta) = u cos(d) + v sin(d) in one turned by d. At d = 90 degrees this is
    tan(bend)^2 = tan(alpha)^2 + tan(beta)^2 (plain geometry). Uncertainty to first order
    (JCGM 100:2008, 5.1.2).
    """
    for name, angle in (("first", alpha_deg), ("second", beta_deg)):
        if not abs(angle) <= LARGEST_PLANAR_DEG:
            raise PeriapicalError(
                f"The angle in the {name} view is {angle:g} degrees; allowed is "
                f"-{LARGEST_PLANAR_DEG:g} to {LARGEST_PLANAR_DEG:g}, since its tangent runs away towards 90. "
                "Measure it against the long axis, or choose views in which the canal bends less."
            )
    delta = checked_turn(between_views_deg)
    u, tan_beta = np.tan(np.radians([alpha_deg, beta_deg]))
    sin, cos = np.sin(delta), np.cos(delta)
    v = (tan_beta - u * cos) / sin
    slope = float(np.hypot(u, v))
    sd_bend = sd_plane = None
    if sd_alpha_deg is not None and sd_beta_deg is not None:
        # rows: how u and v move with alpha, beta and the turn
        moves = np.array(
            [
                [1 + u**2, 0.0, 0.0],
                [-(1 + u**2) * cos / sin, (1 + tan_beta**2) / sin, (u - tan_beta * cos) / sin**2],
            ]
        ) * [sd_alpha_deg, sd_beta_deg, sd_between_deg]
        sd_bend, sd_plane = _sd_of_direction(np.array([u, v]), moves)
    axis = "Both angles are taken against one long axis that lies in both image planes."
    bend, plane = np.degrees([np.arctan(slope), np.arctan2(v, u)])
    return ResultantBend(float(bend), float(plane), sd_bend, sd_plane, (PARALLEL, axis))


def _sd_of_direction(uv: FloatArray, moves: FloatArray) -> tuple[float, float]:
    """Uncertainty of bend and plane, degrees; without a bend its plane is any of the circle."""
    slope = float(np.hypot(*uv))
    uniform = 180.0 / np.sqrt(3.0)
    if slope < 1e-9:
        return float(np.sqrt((moves**2).sum())), uniform
    along = uv @ moves / slope / (1 + slope**2)
    around = np.array([-uv[1], uv[0]]) @ moves / slope**2
    return float(np.sqrt((along**2).sum())), min(float(np.sqrt((around**2).sum())), uniform)


def checked_turn(between_views_deg: float) -> float:
    """Angle between the views, radians.

    Raises
    ------
    PeriapicalError
        The views are too near to one line.
    """
    if not SMALLEST_BETWEEN_DEG <= between_views_deg <= 180 - SMALLEST_BETWEEN_DEG:
        raise PeriapicalError(
            f"The views are given {between_views_deg:g} degrees apart; allowed is {SMALLEST_BETWEEN_DEG:g} "
            f"to {180 - SMALLEST_BETWEEN_DEG:g}, since closer to one line they hold no depth. Give the turn "
            "of the beam about the tooth, best near 90."
        )
    return float(np.radians(between_views_deg))
