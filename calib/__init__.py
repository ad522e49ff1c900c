"""Millimetres: what one pixel means in the plane of the tooth, and how sure that is.

Nothing here knows about images, canals or Qt; numpy is the only dependency.
"""
