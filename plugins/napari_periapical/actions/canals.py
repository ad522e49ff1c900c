"""Adding, removing and choosing canals of one image."""

from __future__ import annotations

from napari_periapical.actions.core import Core


class Canals(Core):
    """Actions on canals as a whole."""

    def add_canal(self) -> None:
        """Add a canal to the image; the tooth and what is common to the image are taken over."""
        if self.session is not None:
            sheet = self.session.sheet.with_another_canal()
            self._push_sheet(f"adding canal {sheet.canal.facts.canal}", sheet)

    def remove_canal(self) -> None:
        """Take the canal worked on away; the last one is emptied instead."""
        if self.session is not None:
            sheet = self.session.sheet
            self._push_sheet(f"removing canal {sheet.canal.facts.canal}", sheet.without_canal())

    def choose_canal(self, index: int) -> None:
        """Work on another canal of the image."""
        if self.session is None or not 0 <= index < len(self.session.sheet.canals):
            return
        if index != self.session.sheet.active:
            self.cancel_move()
            self.session.history.show(index)
            self._start_canal()

    def next_canal(self) -> None:
        """Work on the canal after this one; after the last comes the first."""
        if self.session is not None:
            sheet = self.session.sheet
            if len(sheet.canals) == 1:
                self.tell("note", "There is one canal only; Shift+N adds another.")
            self.choose_canal((sheet.active + 1) % len(sheet.canals))
