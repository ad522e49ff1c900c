"""From rough clicks to sub-pixel lines and landmarks."""
