"""Commands of napari's palette and menus: they act on the viewer a person works in, or say what lacks."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from napari_periapical.binding import Binding, binding_of
from napari_periapical.controller import Controller
from napari_periapical.launch import WIDGET
from napari_periapical.preferences import PLUGIN

if TYPE_CHECKING:
    from napari_periapical.panel import PeriapicalPanel

NO_VIEWER = "There is no viewer open; open one, and the panel in it, first."
NO_PANEL = f"Nothing is measured in this viewer yet. Open the panel first: Layers > Measure > {WIDGET}."
NO_IMAGE = "No radiograph is open in this viewer; open one first."


def current_binding() -> Binding | str:
    """Give the binding of the viewer a person works in, or what is missing, in words."""
    import napari  # type: ignore[import-untyped]

    viewer = napari.current_viewer()
    if viewer is None:
        return NO_VIEWER
    binding = binding_of(viewer)
    return NO_PANEL if binding is None else binding


def _say(level: str, text: str) -> None:
    from napari.utils.notifications import show_info, show_warning  # type: ignore[import-untyped]

    (show_warning if level == "problem" else show_info)(text)


def _on_controller(act: Callable[[Controller], Any]) -> Callable[[], None]:
    """Make a command of an action; what the action says is said beside the panel too, which may be closed."""

    def run() -> None:
        binding = current_binding()
        if isinstance(binding, str):
            _say("problem", binding)
        elif binding.controller.session is None:
            _say("problem", NO_IMAGE)
        else:
            told: list[tuple[str, str]] = []
            listen = binding.controller.told.connect(lambda level, text: told.append((level, text)))
            try:
                act(binding.controller)
            finally:
                binding.controller.told.disconnect(listen)
            if told and told[-1][1]:
                _say(*told[-1])

    return run


def _on_panel(act: Callable[[PeriapicalPanel], None], *, needs_image: bool) -> Callable[[], None]:
    """Make a command of what a button of the panel does; the panel is opened for it."""

    def run() -> None:
        import napari

        viewer, binding = napari.current_viewer(), current_binding()
        if viewer is None:
            _say("problem", NO_VIEWER)
        elif needs_image and isinstance(binding, str):
            _say("problem", binding)
        elif needs_image and isinstance(binding, Binding) and binding.controller.session is None:
            _say("problem", NO_IMAGE)
        else:
            dock, panel = viewer.window.add_plugin_dock_widget(PLUGIN, WIDGET)
            dock.show()
            act(panel)

    return run


undo = _on_controller(Controller.undo)
redo = _on_controller(Controller.redo)
go_on = _on_controller(Controller.confirm)
take_back = _on_controller(Controller.back)
give_up_line = _on_controller(Controller.escape)
add_canal = _on_controller(Controller.add_canal)
remove_canal = _on_controller(Controller.remove_canal)
step_forth = _on_controller(lambda controller: controller.step_through(1))
step_back = _on_controller(lambda controller: controller.step_through(-1))
switch_numbers = _on_controller(Controller.switch_numbers)
switch_magnifier = _on_controller(Controller.switch_magnifier)
show_as_exposed = _on_controller(Controller.show_as_exposed)


def work_on_landmarks() -> None:
    """Make the landmarks the active layer, so that clicks and keys act on them."""
    binding = current_binding()
    if isinstance(binding, str):
        _say("problem", binding)
    elif binding.controller.session is None:
        _say("problem", NO_IMAGE)
    else:
        binding.make_ready()


open_image = _on_panel(lambda panel: panel.open_image(), needs_image=False)
reopen_tracing = _on_panel(lambda panel: panel.reopen(), needs_image=False)
save_table = _on_panel(lambda panel: panel.save_table(), needs_image=True)
save_tracing = _on_panel(lambda panel: panel.save_tracing(), needs_image=True)
