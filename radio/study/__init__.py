"""Many images: batch runs."""
