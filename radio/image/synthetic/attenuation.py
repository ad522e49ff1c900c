"""Linear attenuation coefficients of what a periapical beam passes through.

Mass attenuation coefficients of the elements and of the two ICRU-44 tissues follow J. H. Hubbell and
S. M. Seltzer, "Tables of X-Ray Mass Attenuation Coefficients", NISTIR 5632 (the values of the NIST XCOM
data base), quoted from memory at 20, 30, 40 and 50 keV; the elements agree within 0.6 % with the
independent tables of W. T. Elam, B. D. Ravel and J. R. Sieber, Radiat Phys Chem 63 (2002) 121. Compounds
follow the mixture rule. Tissue densities follow ICRU Report 44 (from memory); enamel and dentine
compositions are the usual textbook weight shares of hydroxyapatite, organic matter and water (from memory).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

ENERGIES_KEV = np.array([20.0, 30.0, 40.0, 50.0])

# mass attenuation, cm2/g, at ENERGIES_KEV
ELEMENTS: dict[str, tuple[float, float, float, float]] = {
    "H": (0.3695, 0.3570, 0.3458, 0.3355),
    "C": (0.4420, 0.2562, 0.2076, 0.1871),
    "O": (0.8651, 0.3779, 0.2585, 0.2132),
    "Al": (3.441, 1.128, 0.5685, 0.3681),
    "Si": (4.464, 1.436, 0.7012, 0.4385),
    "P": (5.385, 1.700, 0.8096, 0.4916),
    "Ca": (13.06, 4.080, 1.830, 1.019),
    "Ti": (15.85, 4.972, 2.214, 1.213),
    "Cr": (20.38, 6.434, 2.856, 1.550),
    "Fe": (25.68, 8.176, 3.629, 1.958),
    "Ni": (32.20, 10.34, 4.600, 2.474),
    "Zn": (37.19, 12.07, 5.384, 2.892),
}
_TISSUES = {
    "cortical bone": (4.001, 1.331, 0.6655, 0.4242),
    "soft tissue": (0.8230, 0.3790, 0.2688, 0.2264),
}
_HYDROXYAPATITE = {"Ca": 0.3989, "P": 0.1850, "O": 0.4141, "H": 0.0020}
_WATER = {"H": 0.1119, "O": 0.8881}
_ORGANIC = {"C": 0.54, "H": 0.07, "O": 0.39}


def _blend(*parts: tuple[float, dict[str, float]]) -> dict[str, float]:
    total: dict[str, float] = {}
    for share, composition in parts:
        for element, weight in composition.items():
            total[element] = total.get(element, 0.0) + share * weight
    return total


# weight shares and density in g/cm3
_COMPOUNDS: dict[str, tuple[dict[str, float], float]] = {
    "enamel": (_blend((0.96, _HYDROXYAPATITE), (0.03, _WATER), (0.01, _ORGANIC)), 2.95),
    "dentine": (_blend((0.70, _HYDROXYAPATITE), (0.10, _WATER), (0.20, _ORGANIC)), 2.14),
    "steel": ({"Fe": 0.72, "Cr": 0.18, "Ni": 0.10}, 7.93),
    "nickel-titanium": ({"Ni": 0.55, "Ti": 0.45}, 6.45),
    "gutta-percha": (_blend((0.78, {"Zn": 0.803, "O": 0.197}), (0.22, _ORGANIC)), 2.3),
    "silicone": ({"Si": 0.379, "C": 0.324, "O": 0.216, "H": 0.081}, 1.15),
    "polymer": ({"C": 0.86, "H": 0.14}, 1.05),
    "resin composite": (_blend((0.75, {"Al": 0.2, "Si": 0.3, "Ti": 0.1, "O": 0.4}), (0.25, _ORGANIC)), 2.1),
}
_TISSUE_DENSITY = {"cortical bone": 1.92, "soft tissue": 1.06}

MATERIALS = (*_TISSUES, *_COMPOUNDS)


def linear_attenuation_per_mm(material: str) -> FloatArray:
    """Linear attenuation coefficient of a material at `ENERGIES_KEV`, per millimetre, shape (4,).

    Raises
    ------
    KeyError
        The material is not one of `MATERIALS`.
    """
    if material in _TISSUES:
        return np.array(_TISSUES[material]) * _TISSUE_DENSITY[material] / 10
    composition, density = _COMPOUNDS[material]
    mass = sum(weight * np.array(ELEMENTS[element]) for element, weight in composition.items())
    return np.asarray(mass * density / 10, dtype=np.float64)


def spectrum_weights(tube_voltage_kv: float) -> FloatArray:
    """Shares of detected signal at `ENERGIES_KEV` for a filtered dental beam, shape (4,), sum 1.

    A smooth four-line stand-in for a filtered spectrum of 60 to 70 kV: mean energy 33 keV at 60 kV and
    36 keV at 70 kV (about half the peak, common practice, no source).
    """
    hard = (tube_voltage_kv - 60) / 10
    weights = np.array([0.16 - 0.05 * hard, 0.46 - 0.05 * hard, 0.28 + 0.02 * hard, 0.10 + 0.08 * hard])
    return np.asarray(weights / weights.sum(), dtype=np.float64)
