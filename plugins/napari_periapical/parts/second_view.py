"""A second view of the tooth, and which canal lies buccally."""

from __future__ import annotations

from qtpy.QtWidgets import QFormLayout, QWidget

from napari_periapical.controller import Controller
from napari_periapical.parts.form import narrow_box
from napari_periapical.parts.section import Section, show_text, text_label
from napari_periapical.session import Session
from radio.measure.shifted_view import RULE

_WAYS = (("not stated", ""), ("mesially", "mesial"), ("distally", "distal"))
_SIDES = (("not stated", ""), ("on the left", "left"), ("on the right", "right"))


class SecondViewPart(Section):
    """Sets two open images of one tooth side by side, takes the shift, and tells buccal from lingual."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("second", controller)
        self.hint = text_label()
        self.choice, self.tube, self.mesial = narrow_box(), narrow_box(), narrow_box()
        for box, choices in ((self.tube, _WAYS), (self.mesial, _SIDES)):
            for text, value in choices:
                box.addItem(text, value)
            box.activated.connect(lambda *_: self._note())
        self.choice.activated.connect(lambda *_: controller.pair_with(str(self.choice.currentData())))
        self.told = text_label()
        self.rule = text_label(RULE)
        form = QWidget()
        rows = QFormLayout(form)
        rows.setContentsMargins(0, 2, 0, 0)
        for label, box in (
            ("Second view", self.choice),
            ("Tube moved", self.tube),
            ("Mesial is", self.mesial),
        ):
            rows.addRow(label, box)
        for widget in (self.hint, form, self.told, self.rule):
            self.body.addWidget(widget)
        self.fold_away()

    def _note(self) -> None:
        self.controller.note_shift(
            tube_to=str(self.tube.currentData()), mesial_at=str(self.mesial.currentData())
        )

    def refresh(self) -> None:
        """Show what the controller holds now."""
        controller, pair = self.controller, self.controller.pair
        is_second = pair is not None and pair.second is controller.session
        self._show_choice(pair.first if is_second and pair else None)
        view = pair.first.sheet.view if pair else controller.view
        for box, value in ((self.tube, view.tube_to), (self.mesial, view.mesial_at)):
            box.setCurrentIndex(box.findData(value))
            box.setEnabled(pair is not None and not is_second)
        self.choice.setEnabled(not is_second and bool(controller.others))
        found, missing = controller.told_by_shift()
        show_text(self.told, "\n".join(one.text for one in found) or missing)
        if is_second and pair:
            text = f"This is the second view of {_name(pair.first)}; choose that image to change the pair."
        elif not controller.others:
            text = "Open another image of this tooth, then choose it here to see both side by side."
        else:
            text = "Name each canal alike on both images, and mark it on both."
        show_text(self.hint, text)

    def _show_choice(self, first: Session | None) -> None:
        """List the images that can be the second view; on a second view, the first stands there."""
        entries = [("none", "")] + [(_name(one), one.radiograph.sha256) for one in self.controller.others]
        if entries != [
            (self.choice.itemText(k), self.choice.itemData(k)) for k in range(self.choice.count())
        ]:
            self.choice.clear()
            for text, value in entries:
                self.choice.addItem(text, value)
        chosen = first.radiograph.sha256 if first else self.controller.view.second
        self.choice.setCurrentIndex(max(self.choice.findData(chosen), 0))


def _name(session: Session) -> str:
    path = session.radiograph.path
    return path.name if path else "image without a name"
