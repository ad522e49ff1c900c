"""Panel for napari: place landmarks on a periapical radiograph and read the numbers live."""
