"""Diameter, blur and tone that explain all rows across a file together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from radio.trace.girth_rows import Ground, Rows, window
from radio.trace.girth_shadow import Optics, Section, ShadowModel
from radio.trace.girth_twist import Twist, steady_twist

FloatArray = npt.NDArray[np.float64]

# Parameters of the fit: diameter in the middle and its growth per pixel, then the optics in their order;
# lengths in mm by the approximate scale and as logarithms. Usual values and spreads are wide: receptors blur
# by 0.03 to 0.1 mm, display curves are near the logarithm, and edges are enhanced more often than not (common
# practice, no source). At 35 keV steel stops about 4.2 per mm and nickel-titanium 3.3 (iron 5.3 cm²/g, tables
# of Hubbell and Seltzer, NISTIR 5632, from memory).
_USUAL = np.array([0.0, np.log(0.055), np.log(3.7), 0.4, np.log(0.13), 1.0, 0.03])
_SPREAD = np.array([0.002, 0.6, 0.3, 0.5, 0.4, 0.25, 0.05])
_LOW = np.array([-0.01, np.log(0.015), np.log(0.3), -0.2, np.log(0.05), 0.3, 0.0])
_HIGH = np.array([0.01, np.log(0.2), np.log(20.0), 2.5, np.log(0.4), 2.5, 0.5])
# About so many samples share one error of noise or texture when the usual values are weighed in.
_SHARED = 20.0
# And about so many within a row and its neighbours, when turns are told apart.
_SHARED_IN_ROW = 9.0
_ROUNDS = 3
_STEPS = 6
# Gain along the file is a parabola: local contrast processing and a tone curve over uneven ground change it.
_GAIN_TERMS = 3


@dataclass(frozen=True, eq=False)
class Fitted:
    """One section fitted to all rows.

    Parameters
    ----------
    section : {"round", "square", "triangle"}
    diameters_px : ndarray, shape (N,)
        Of the circle about the section, on a straight line along the file.
    sd_px : float
        Standard uncertainty of the diameter in the middle with blur and tone open, without what the model
        itself may miss.
    optics : Optics
    twist : Twist or None
        None for a round section.
    noise : float
        Spread of a sample about the model.
    residuals, slopes, sideways : ndarray, shape (N, M)
        What is left of the rows in units of the noise; change of the rows per pixel of diameter, and per
        pixel that the file lies farther along the offsets.
    weights : ndarray, shape (N, M)
        Weight of every sample, 0 where it could not be used.
    """

    section: Section
    diameters_px: FloatArray
    sd_px: float
    optics: Optics
    twist: Twist | None
    noise: float
    residuals: FloatArray
    slopes: FloatArray
    sideways: FloatArray
    weights: FloatArray


class RowsFit:
    """Fits one section to rows; state only while it runs.

    Parameters
    ----------
    rows : Rows
    section : {"round", "square", "triangle"}
    mm_per_px : float
        Approximate scale.
    start_px : float
        Diameter in the middle to begin with.
    taper : float
        Growth of the diameter, pixels per pixel.
    """

    def __init__(self, rows: Rows, section: Section, *, mm_per_px: float, start_px: float, taper: float):
        self.rows, self.mm, self.taper = rows, mm_per_px, taper
        self.sharp = self.model = ShadowModel.of(section, rows.offsets_px)
        self.phases = np.zeros(len(rows.from_tip_px), dtype=np.int64)
        self.twist: Twist | None = None
        self.row_trust = np.ones(len(rows.from_tip_px))
        self.state = np.concatenate([[start_px], _USUAL])
        self.shift_px = rows.from_tip_px - rows.middle_px
        self.noise = 1.0

    def run(self) -> Fitted:
        """Alternate between the turns of the section and everything else."""
        from scipy.optimize import least_squares

        low = np.concatenate([[1.0], _LOW])
        high = np.concatenate([[1.6 * float(self.rows.offsets_px[-1])], _HIGH])
        self._weigh()
        for number in range(_ROUNDS):
            if self.model.turns > 1:
                self._turn()
            self._estimate_noise(trust_rows=number > 0)
            fit = least_squares(
                self._misfits,
                np.clip(self.state, low + 1e-6, high - 1e-6),
                bounds=(low, high),
                x_scale=np.concatenate([[1.0], _SPREAD]),
                diff_step=1e-4,
                max_nfev=_STEPS,
            )
            self.state = fit.x
            self._weigh()
        return self._result(fit.jac)

    def cost(self, weights: FloatArray, noise: float) -> float:
        """Misfit on samples of given weight, shape (N, M), about a negative log likelihood of the section."""
        self.weights, self.ground = weights, Ground(self.rows.offsets_px, weights)
        self.seen = self.ground.without(self.rows.values)
        left = self._left(self.state) / noise
        return float((np.sqrt(1.0 + left**2) - 1.0).sum()) / _SHARED

    # -- the parts ----------------------------------------------------------------------------------------

    def diameters_px(self, state: FloatArray) -> FloatArray:
        """Diameter in every row."""
        return np.asarray(state[0] + (self.taper + state[1]) * self.shift_px)

    def optics(self, state: FloatArray) -> Optics:
        """Optics in pixels."""
        blur, absorption, sharpening, reach, tone, stray = state[2:]
        per = self.mm
        return Optics(
            np.exp(blur) / per, np.exp(absorption) * per, sharpening, np.exp(reach) / per, tone, stray
        )

    def _weigh(self) -> None:
        diameters, optics = self.diameters_px(self.state), self.optics(self.state)
        self.weights = window(self.rows, diameters, optics.blur_px, self.mm) * self.row_trust[:, None]
        self.ground = Ground(self.rows.offsets_px, self.weights)
        self.seen = self.ground.without(self.rows.values)

    def _signal(self, diameters_px: FloatArray, phases: npt.NDArray[np.int64], optics: Optics) -> FloatArray:
        return self.ground.without(self.model.signal(diameters_px, phases, optics))

    def _gains(self, signal: FloatArray) -> FloatArray:
        """Gain in every row: a parabola along the file, rows that do not fit bounded."""
        weight = (signal**2).sum(axis=1) + 1e-12
        gain = (self.seen * signal).sum(axis=1) / weight
        along = self.shift_px / np.abs(self.shift_px).max()
        terms = along[:, None] ** np.arange(_GAIN_TERMS)
        bounded = weight
        for _ in range(3):
            root = np.sqrt(bounded)[:, None]
            shares = np.linalg.lstsq(terms * root, gain * root[:, 0], rcond=None)[0]
            off = gain - terms @ shares
            bounded = weight / (1 + (off / (2 * 1.4826 * np.median(np.abs(off)) + 1e-9)) ** 2)
        return np.asarray(terms @ shares)

    def _left(self, state: FloatArray) -> FloatArray:
        signal = self._signal(self.diameters_px(state), self.phases, self.optics(state))
        return self.seen - self._gains(signal)[:, None] * signal

    def _misfits(self, state: FloatArray) -> FloatArray:
        """Misfits of samples bounded as by a soft L1 loss; those from the usual values count in full.

        Were these bounded too, metal that stops a fifth of what any metal does would pass for a few samples
        fitted better: it makes squares look 3 to 5 % too thin.
        """
        left = (self._left(state) / self.noise).ravel()
        bounded = left * np.sqrt(2.0 / (1.0 + np.sqrt(1.0 + left**2)))
        usual = np.sqrt(_SHARED) * (state[1:] - _USUAL) / _SPREAD
        return np.concatenate([bounded, usual])

    def _estimate_noise(self, *, trust_rows: bool) -> None:
        left = self._left(self.state)
        self.noise = 1.4826 * float(np.median(np.abs(left[self.weights > 0]))) + 1e-9
        if trust_rows:
            count = np.maximum((self.weights > 0).sum(axis=1), 1)
            spread = np.sqrt((left**2).sum(axis=1) / count / np.maximum(self.row_trust, 1e-3))
            usual = float(np.median(spread[spread > 0]))
            self.row_trust = 1.0 / (1.0 + (spread / (2 * usual)) ** 4)

    def _turn(self) -> None:
        diameters, optics = self.diameters_px(self.state), self.optics(self.state)
        signals = partial(self._signal, diameters, optics=optics)
        gain = self._gains(signals(phases=self.phases))[:, None]
        costs = []
        for phase in range(self.model.turns):
            left = self.seen - gain * signals(phases=np.full_like(self.phases, phase))
            costs.append((left**2).sum(axis=1))
        table = np.array(costs)
        least = table.min(axis=0)
        usual = float(np.median(least[least > 0])) / max(
            float(np.median((self.weights > 0).sum(axis=1))), 1.0
        )
        self.twist = steady_twist(table / usual / _SHARED_IN_ROW, self.rows.step_mm)
        self.phases = self.twist.phases
        # along the file the blur, and the width of a row, mix turns
        over_mm = np.hypot(optics.blur_px * self.mm, self.rows.step_mm / np.sqrt(12))
        self.model = self.sharp.smeared(over_mm * abs(self.twist.per_mm) * self.model.turns)

    def _result(self, jacobian: FloatArray) -> Fitted:
        diameters, optics = self.diameters_px(self.state), self.optics(self.state)
        self._estimate_noise(trust_rows=False)
        signal = self._signal(diameters, self.phases, optics)
        gain = self._gains(signal)[:, None]
        step = 0.1
        wider = self._signal(diameters + step, self.phases, optics)
        aside = self.ground.without(
            self.model.at(self.rows.offsets_px - step).signal(diameters, self.phases, optics)
        )
        covariance = np.linalg.pinv(jacobian.T @ jacobian / _SHARED)
        return Fitted(
            section=self.model.section,
            diameters_px=diameters,
            sd_px=float(np.sqrt(covariance[0, 0])),
            optics=optics,
            twist=self.twist,
            noise=self.noise,
            residuals=(self.seen - gain * signal) / self.noise,
            slopes=gain * (wider - signal) / step / self.noise,
            sideways=gain * (aside - signal) / step / self.noise,
            weights=self.weights,
        )
