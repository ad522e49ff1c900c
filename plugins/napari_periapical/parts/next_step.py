"""What to do next: always in view, above the parts."""

from __future__ import annotations

from qtpy.QtWidgets import QPushButton, QVBoxLayout, QWidget

from napari_periapical.binding import Binding
from napari_periapical.guide import GUIDE, instruction, tracing_instruction
from napari_periapical.parts.section import text_label
from napari_periapical.steps import after_all_points


class NextStep(QWidget):
    """Names the landmark the next click places, and says when clicks go elsewhere."""

    def __init__(self, binding: Binding) -> None:
        super().__init__()
        self._binding = binding
        self.name = text_label(bold=True)
        self.instruction = text_label()
        # three lines always, so that nothing below jumps
        self.instruction.setMinimumHeight(3 * self.instruction.fontMetrics().lineSpacing())
        self.wake_button = QPushButton("Clicks go to another layer: place points again")
        self.wake_button.clicked.connect(lambda *_: binding.make_ready())
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        for widget in (self.name, self.instruction, self.wake_button):
            column.addWidget(widget)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        controller = self._binding.controller
        session = controller.session
        current = session.landmark if session else None
        if session is None:
            title, text = "Open an image to begin", "Take the button below, or drop an image on the viewer."
        elif current is None:
            title, text = after_all_points(controller)
        elif session.tracing is not None:
            title, text = f"Tracing the {session.tracing}", tracing_instruction(session.tracing, current)
        else:
            title, text = f"Next: {GUIDE[current].label}", instruction(current, controller.canal)
        self.name.setText(title)
        self.instruction.setText(text)
        self.wake_button.setVisible(session is not None and not self._binding.ready)
