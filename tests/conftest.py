"""Settings all tests share."""

from hypothesis import settings

# the first call of a test loads scipy or OpenCV, which takes longer than any deadline
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
