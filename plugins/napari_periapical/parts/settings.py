"""How curvature is measured: what no source fixes."""

from __future__ import annotations

from functools import partial

from qtpy.QtWidgets import QFormLayout, QWidget

from napari_periapical.controller import Controller
from napari_periapical.fields import SETTINGS
from napari_periapical.parts.form import finish_typed
from napari_periapical.parts.section import Field, show_text, text_label
from napari_periapical.session import Session
from radio.measure.settings import DEFAULT_SETTINGS, LIMITS


class SettingsForm(QWidget):
    """Takes in the parameters of the curvature methods; they hold for every canal of the image."""

    def __init__(self, controller: Controller) -> None:
        super().__init__()
        self._controller = controller
        self.lines: dict[str, Field] = {}
        self.problem = text_label(bold=True)
        self._of: Session | None = None
        form = QFormLayout(self)
        form.setContentsMargins(0, 2, 0, 0)
        form.setVerticalSpacing(3)
        for name, label in SETTINGS:
            line = Field()
            line.setMinimumWidth(60)
            line.setPlaceholderText(f"{getattr(DEFAULT_SETTINGS, name):.4g}")
            line.setToolTip(
                f"{LIMITS[name].words[:1].upper()}{LIMITS[name].words[1:]}; printed with every number"
            )
            line.editingFinished.connect(lambda name=name: self._entered(name))
            self.lines[name] = line
            form.addRow(label, line)
        form.addRow(self.problem)

    def _entered(self, name: str) -> None:
        line = self.lines[name]
        if not line.isModified():
            return
        line.setModified(False)
        problem = self._controller.state_setting(name, line.text())
        show_text(self.problem, f"! {dict(SETTINGS)[name]}: {problem}" if problem else "")
        if not problem:
            self.refresh()

    def refresh(self) -> None:
        """Show what the controller holds now; what is usual stays a hint."""
        before, self._of = self._of, self._controller.session
        another = before is not self._of
        if another:
            show_text(self.problem, "")
            if before is not None:
                state = partial(self._controller.state_setting_of, before)
                finish_typed(self._controller, self.lines, dict(SETTINGS), state)
        settings = self._controller.canal.settings
        for name, line in self.lines.items():
            value = getattr(settings, name)
            if another or not (line.isModified() or line.hasFocus()):
                line.setText("" if value == getattr(DEFAULT_SETTINGS, name) else f"{value:.10g}")
