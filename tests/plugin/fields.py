"""The fields of facts, in whichever part of the panel they are."""

from __future__ import annotations

from typing import Any


def form_of(panel: Any, name: str) -> Any:
    """Give the form that takes in a fact."""
    forms = (panel.scale.form, panel.trace.form, panel.lengths.form)
    return next(one for one in forms if name in {**one.lines, **one.choices})


def field_of(panel: Any, name: str) -> Any:
    """Give the widget of a fact."""
    return form_of(panel, name).field(name)


def type_in(panel: Any, name: str, text: str) -> None:
    """Type into a field as a person does, and leave it."""
    line = field_of(panel, name)
    line.selectAll()
    line.insert(text)
    line.editingFinished.emit()
