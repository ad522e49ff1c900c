"""The error of this package."""

from __future__ import annotations


class CalibrationError(ValueError):
    """A scale or a length cannot be made from what was given; the text says what was, and what is allowed."""
