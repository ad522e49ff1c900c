"""Two views of one tooth, side by side."""

from __future__ import annotations

from dataclasses import dataclass

from napari_periapical.actions.viewing import Viewing
from napari_periapical.session import Session
from radio.measure.case import CaseResult
from radio.measure.shifted_view import Shift, shifts

# what tells where a canal stands on an image, the first that is there
_PLACES = ("apex", "canal_end", "file_tip", "orifice")


@dataclass(frozen=True, eq=False)
class Pair:
    """Two open images of one tooth: the first, and the one taken after the tube was moved."""

    first: Session
    second: Session


class Pairing(Viewing):
    """Actions on two views."""

    @property
    def others(self) -> tuple[Session, ...]:
        """Open images beside the one worked on."""
        return tuple(one for one in self._sessions.values() if one is not self.session)

    @property
    def pair(self) -> Pair | None:
        """The two views the image worked on belongs to, if any."""
        if self.session is None:
            return None
        for first in (self.session, *self.others):
            second = self._sessions.get(first.sheet.view.second)
            if second is not None and second is not first and self.session in (first, second):
                return Pair(first, second)
        return None

    def pair_with(self, sha256: str) -> None:
        """Make another open image the second view of this one; an empty text takes it back."""
        self.show_as("adding a second view" if sha256 else "taking the second view away", second=sha256)

    def note_shift(self, *, tube_to: str, mesial_at: str) -> None:
        """Note where the tube was moved to for the second view, and where mesial lies on both images."""
        self.show_as("noting the shift", tube_to=tube_to, mesial_at=mesial_at)

    def told_by_shift(self) -> tuple[tuple[Shift, ...], str]:
        """Which canals lie buccally, as far as both views tell; and what is missing for it."""
        pair = self.pair
        if pair is None:
            return (), ""
        view = pair.first.sheet.view
        if not view.tube_to or not view.mesial_at:
            return (), "State where the tube was moved to, and where mesial lies."
        first, second = (_places_mm(one) for one in (pair.first, pair.second))
        found = shifts(first, second, tube_to=view.tube_to, mesial_at=view.mesial_at)
        if found:
            return found, ""
        return (), (
            "Needs two canals on both images, of the same names, each with its apex or file tip and a scale."
        )


def _places_mm(session: Session) -> dict[str, float]:
    """Where each canal of an image stands across the tooth, to the right, mm, by name."""
    found = {}
    for canal in session.sheet.canals:
        shown = session.shown.get(canal.uid)
        place = None if shown is None or shown.result is None else _place_mm(shown.result)
        if place is not None:
            found[canal.facts.canal] = place
    return found


def _place_mm(result: CaseResult) -> float | None:
    fix = next((result.landmarks[name] for name in _PLACES if name in result.landmarks), None)
    return None if fix is None or result.scale is None else fix.col * result.scale.col_mm_per_px
