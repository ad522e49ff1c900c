"""Every published curvature method, one module each; a module put here appears everywhere."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules

from radio.measure.methods.contract import CurvatureMethod, Quantity

__all__ = ["METHODS", "QUANTITIES", "CurvatureMethod", "Quantity", "method_named"]


def _found() -> tuple[CurvatureMethod, ...]:
    modules = [import_module(f"{__name__}.{info.name}") for info in iter_modules(__path__)]
    methods = [one.METHOD for one in modules if hasattr(one, "METHOD")]
    return tuple(sorted(methods, key=lambda method: method.order))


METHODS = _found()
QUANTITIES: dict[str, Quantity] = {q.column: q for method in METHODS for q in method.quantities}


def method_named(name: str) -> CurvatureMethod:
    """The method of a name, whatever its case.

    Raises
    ------
    PeriapicalError
        There is none; the names there are are listed.
    """
    from radio.errors import PeriapicalError

    for method in METHODS:
        if method.name == name.strip().casefold():
            return method
    from difflib import get_close_matches

    known = [method.name for method in METHODS]
    close = get_close_matches(name.casefold().removesuffix("_deg").replace("_", "-"), known, n=1)
    hint = f" Did you mean {close[0]!r}?" if close else ""
    names = ", ".join(known)
    raise PeriapicalError(f"There is no curvature method {name!r}; the methods are: {names}.{hint}")
