"""From lines and landmarks to millimetres and degrees."""
