"""Step 1: the image."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtWidgets import QPushButton

from napari_periapical.about import image_cautions, image_facts
from napari_periapical.controller import Controller
from napari_periapical.parts.checks import ChecksList
from napari_periapical.parts.display import DisplayPart
from napari_periapical.parts.section import Section, show_text, text_label


class ImagePart(Section):
    """Opens an image, and says what it is, what to be careful about, and what the checks found.

    Parameters
    ----------
    controller : Controller
    open_image : callable
        Asks for an image and opens it.
    """

    def __init__(self, controller: Controller, open_image: Callable[[], None]) -> None:
        super().__init__("image", controller)
        self.open_button = QPushButton("Open image ...")
        self.open_button.clicked.connect(lambda *_: open_image())
        self.facts = text_label()
        self.cautions = text_label()
        self.display = DisplayPart(controller)
        self.checks = ChecksList(controller)
        for widget in (self.open_button, self.facts, self.cautions, self.display, self.checks):
            self.body.addWidget(widget)
        self._shown: object = ()

    def refresh(self) -> None:
        """Show what the controller holds now."""
        self.display.refresh()
        session, facts = self.controller.session, self.controller.canal.facts
        wanted = (session and session.radiograph.sha256, facts)
        if wanted == self._shown:
            return
        self._shown = wanted
        if session is None:
            show_text(self.facts, "No radiograph is open.")
            show_text(self.cautions, "")
            return
        show_text(self.facts, image_facts(session.radiograph))
        self.facts.setToolTip("\n".join(("Done to the stored values:", *session.radiograph.history)))
        show_text(self.cautions, image_cautions(session.radiograph, facts))
