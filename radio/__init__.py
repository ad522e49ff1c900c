"""Core of napari-periapical: measure root canals on periapical radiographs. No Qt and no napari here."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("napari-periapical")
except PackageNotFoundError:  # running from a source tree that was never installed
    __version__ = "0+source"
