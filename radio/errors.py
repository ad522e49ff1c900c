"""Errors a user can act on: each text says what was given, what is allowed and what to do."""

from calib.scale import CalibrationError

__all__ = ["CalibrationError", "ImageError", "PeriapicalError", "TableError", "TraceError", "echoed"]


_LONGEST_ECHO = 40


def echoed(text: str) -> str:
    """Write in quotes what was given, for a message; of a long text only the beginning."""
    return repr(text if len(text) <= _LONGEST_ECHO else f"{text[:_LONGEST_ECHO]}…")


class PeriapicalError(ValueError):
    """Base of the errors that are meant for the user, not for the programmer."""


class ImageError(PeriapicalError):
    """An image cannot be read, or is not a single-frame grey radiograph."""


class TableError(PeriapicalError):
    """A table or tracing document is malformed; the text names the row and column."""


class TraceError(PeriapicalError):
    """The clicks given do not allow a line or landmark to be found."""
