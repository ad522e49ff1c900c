"""Synthetic periapical radiographs with exact truth.

``make_case(seed)`` draws and renders one; ``draw_parameters(rng)`` draws only its parameters. For teaching
and for testing: nothing here is a picture of a person.
"""

from radio.image.synthetic.case import SyntheticCanal, SyntheticCase, case_of, make_case
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.truth import Truth

__all__ = [
    "Parameters",
    "SyntheticCanal",
    "SyntheticCase",
    "Truth",
    "case_of",
    "draw_parameters",
    "make_case",
]
