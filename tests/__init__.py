"""Tests of napari-periapical; ``python3 -m tests`` runs them all on a fresh machine."""
