"""Errors a user can act on: each text says what was given, what is allowed and what to do."""

from calib.scale import CalibrationError

__all__ = [
    "BookError",
    "CalibrationError",
    "ImageError",
    "PeriapicalError",
    "TableError",
    "TraceError",
    "echoed",
]


_LONGEST_ECHO = 40


def echoed(given: object) -> str:
    """Write what was given, for a message: a text in quotes, of a long one only the beginning."""
    if isinstance(given, str) and len(given) > _LONGEST_ECHO:
        given = f"{given[:_LONGEST_ECHO]}…"
    return repr(given)


class PeriapicalError(ValueError):
    """Base of the errors that are meant for the user, not for the programmer."""


class ImageError(PeriapicalError):
    """An image cannot be read, or is not a single-frame grey radiograph."""


class TableError(PeriapicalError):
    """A table or tracing document is malformed; the text names the row and column."""


class BookError(PeriapicalError):
    """A casebook cannot be opened, read or written as asked; nothing in it was changed."""


class TraceError(PeriapicalError):
    """The clicks given do not allow a line or landmark to be found."""
