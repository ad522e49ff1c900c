"""Palette, menus and saving of layers in a real viewer: all that is offered works, or says what lacks."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import yaml

import napari_periapical
from napari_periapical import commands, drafts
from napari_periapical.autosave import Autosave
from napari_periapical.controller import Controller
from napari_periapical.layers import RADIOGRAPH, frame_of, image_layer
from napari_periapical.readers import read_layer
from napari_periapical.writer import write_results
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.pretend import add

pytest.importorskip("qtpy")

NAME = "napari-periapical"
RAW = yaml.safe_load(Path(napari_periapical.__file__).with_name("napari.yaml").read_text())["contributions"]
IN_MENU = [one["command"] for one in RAW["menus"]["napari-periapical/actions"]]
OPEN_THE_PANEL = [f"{NAME}.open_image", f"{NAME}.reopen_tracing"]


@pytest.fixture
def said(monkeypatch):
    """What napari is asked to tell the person."""
    from napari.utils import notifications

    told = []
    for name in ("show_info", "show_warning"):
        monkeypatch.setattr(notifications, name, lambda text, name=name: told.append((name, text)))
    return told


@pytest.fixture
def empty(display, make_napari_viewer):
    return make_napari_viewer(show=True)


@pytest.fixture
def at_work(empty):
    _, panel = empty.window.add_plugin_dock_widget(NAME, "Measure root canals")
    panel.controller.measuring.measure = straight_length
    add(empty, plain_radiograph())
    for point in ((10.0, 20.0), (40.0, 20.0)):
        panel.controller.place(point)
    return empty, panel


def run(command):
    """Run a command as menu and palette do."""
    from napari._app_model import get_app_model

    return get_app_model().commands.execute_command(command).result()


def test_every_command_is_in_the_palette_with_a_title_and_in_the_menu(at_work):
    from napari._app_model import get_app_model

    app = get_app_model()
    there = {item.command.id: item.command.title for item in app.menus.get_menu("napari-periapical/actions")}
    titles = {one["id"]: one["title"] for one in RAW["commands"]}
    assert list(there) == IN_MENU
    assert there == {one: f"{titles[one]} (Periapical measurement)" for one in IN_MENU}
    palette = {item.command.id: item.command for item in app.menus.get_menu(app.menus.COMMAND_PALETTE_ID)}
    assert set(IN_MENU) <= set(palette)
    # what napari calls with arguments cannot be run from the palette
    for name in ("get_reader", "write_results"):
        assert not palette[f"{NAME}.{name}"].enablement.eval({})
    assert f"{NAME}.panel" in palette


def test_the_menus_a_person_opens_hold_the_commands_and_they_work(at_work, said):
    from qtpy.QtWidgets import QMainWindow

    def opened(menu, title):
        inner = next(one for one in menu.actions() if one.text().replace("&", "") == title).menu()
        inner.aboutToShow.emit()
        return inner

    _, panel = at_work
    window = panel.window()
    assert isinstance(window, QMainWindow)
    measure = opened(opened(window.menuBar(), "Layers"), "Measure")
    assert "Measure root canals (Periapical measurement)" in [one.text() for one in measure.actions()]
    actions = {one.text(): one for one in opened(measure, "Root canals").actions()}
    assert len(actions) == len(IN_MENU)
    before = panel.controller.canal
    actions["Undo the last step (Periapical measurement)"].trigger()
    assert panel.controller.canal != before
    actions["Redo the step undone (Periapical measurement)"].trigger()
    assert panel.controller.canal == before
    assert said == []


def test_every_command_says_what_lacks_in_a_viewer_that_measures_nothing(empty, said, monkeypatch):
    from qtpy.QtWidgets import QFileDialog

    asked = []
    for name in ("getOpenFileName", "getSaveFileName"):
        monkeypatch.setattr(QFileDialog, name, lambda *_, **__: asked.append(1) or ("", ""))
    rest = [one for one in IN_MENU if one not in OPEN_THE_PANEL]
    for command in rest:
        run(command)
    assert said == [("show_warning", commands.NO_PANEL)] * len(rest)
    assert len(empty.window.dock_widgets) == 0
    for number, command in enumerate(OPEN_THE_PANEL, 1):
        run(command)
        assert len(asked) == number
        assert len(empty.window.dock_widgets) == 1
    said.clear()
    for command in rest:
        run(command)
    assert said == [("show_warning", commands.NO_IMAGE)] * len(rest)
    assert len(asked) == len(OPEN_THE_PANEL)


def test_without_a_viewer_every_command_says_so(said, monkeypatch):
    monkeypatch.setattr("napari.current_viewer", lambda: None)
    for command in IN_MENU:
        getattr(commands, command.partition(".")[2])()
    assert said == [("show_warning", commands.NO_VIEWER)] * len(IN_MENU)


def test_commands_do_what_their_title_says(at_work, said):
    viewer, panel = at_work
    one = panel.controller
    assert len(one.canal.clicks) == 2
    run(f"{NAME}.undo")
    assert len(one.canal.clicks) == 1
    run(f"{NAME}.redo")
    assert len(one.canal.clicks) == 2
    run(f"{NAME}.redo")
    assert said == [("show_info", "Nothing to redo.")]
    run(f"{NAME}.add_canal")
    assert len(one.session.sheet.canals) == 2
    run(f"{NAME}.remove_canal")
    assert len(one.session.sheet.canals) == 1
    for name in ("numbers", "magnifier"):
        before = getattr(one.view, name)
        run(f"{NAME}.switch_{name}")
        assert getattr(one.view, name) is not before
    one.show_display("inverting", invert=True)
    run(f"{NAME}.show_as_exposed")
    assert not one.view.display.invert
    viewer.layers.selection.active = viewer.layers[0]
    assert not panel.binding.ready
    run(f"{NAME}.work_on_landmarks")
    assert panel.binding.ready
    one.choose("canal_via")
    one.place((25.0, 21.0))
    run(f"{NAME}.take_back")
    assert not one.canal.points("canal_via")
    one.choose("file_start")
    one.session.chosen = False
    one.click((5.0, 5.0))
    assert one.tracing == "file"
    run(f"{NAME}.go_on")
    assert said[-1][1].startswith("First pin the file")
    run(f"{NAME}.give_up_line")
    assert one.tracing is None


def test_steps_of_a_construction_are_gone_through(display, make_napari_viewer, case_path):
    from tests.plugin.drawn import ESSENTIAL, click

    viewer = make_napari_viewer(show=True)
    _, panel = viewer.window.add_plugin_dock_widget(NAME, "Measure root canals")
    viewer.open(str(case_path), plugin=NAME)
    panel.controller.measuring.runner = lambda job, done: done(job())
    for name in ESSENTIAL:
        panel.controller.place(click(name))
    assert panel.controller.up_to_date
    run(f"{NAME}.step_forth")
    assert panel.controller.view.step == 1
    run(f"{NAME}.step_back")
    assert panel.controller.view.step == 0


# names as people and systems give them: spaces, umlauts, other scripts, and what comes from Windows
NAMES = (
    "plain",
    "with spaces and (brackets)",
    "Zähne Süß µm",
    "根管 12",
    r"C_\weird\name",
    "dot.ted.name",
    "#%&;",
)


def test_tables_and_tracings_go_wherever_they_are_named(at_work, said, monkeypatch, tmp_path):
    from qtpy.QtWidgets import QFileDialog

    viewer, panel = at_work
    for name in NAMES:
        folder = tmp_path / name
        folder.mkdir(parents=True)
        table, tracing = folder / f"{name}.csv", folder / f"{name}.json"
        for dialog, path in (("save_table", table), ("save_tracing", tracing), ("reopen_tracing", tracing)):
            for kind in ("getOpenFileName", "getSaveFileName"):
                monkeypatch.setattr(QFileDialog, kind, lambda *_, path=path, **__: (str(path), ""))
            run(f"{NAME}.{dialog}")
        with table.open(newline="", encoding="utf-8-sig") as stream:
            assert len(list(csv.DictReader(stream))) == 1
        assert tracing.exists()
        assert "Opened 1 canal" in panel.message.text()
        assert panel.controller.session.kept_in[panel.controller.canal.uid] == tracing
        # and by File > Save Selected Layers
        viewer.layers.selection.active = panel.binding.layer("landmarks")
        saved = viewer.layers.save(str(folder / f"{name} layer.results.csv"), selected=True)
        assert [Path(one).read_bytes() for one in saved] == [table.read_bytes()]


def test_images_open_and_come_back_from_wherever_they_are(empty, tmp_path):
    from PIL import Image

    _, panel = empty.window.add_plugin_dock_widget(NAME, "Measure root canals")
    panel.controller.measuring.measure = straight_length
    for number, name in enumerate(NAMES):
        path = tmp_path / name / f"{name}.png"
        path.parent.mkdir()
        grey = np.random.default_rng(number).integers(0, 256, (80, 60), dtype=np.uint8)
        Image.fromarray(grey).save(path)
        empty.open(str(path), plugin=NAME)
        assert panel.controller.session.radiograph.path == path
        panel.controller.choose("apex")
        panel.controller.place((10.0 + number, 20.0))
        panel.controller.autosave.flush()
        moved = tmp_path / f"moved {number}.png"
        path.rename(moved)
        other = Controller(measure=straight_length, autosave=Autosave(drafts.drafts_folder))
        other.open(read_layer(moved)[1]["metadata"][RADIOGRAPH])
        assert other.canal.points("apex") == ((10.0 + number, 20.0),)


def test_the_save_dialog_offers_the_table_for_our_layers_and_writes_the_same(at_work, tmp_path):
    from napari.plugins._npe2 import file_extensions_string_for_layers

    from napari_periapical import keeping

    viewer, panel = at_work
    keeping.keep_table(panel.controller, tmp_path / "by panel.csv")
    expected = (tmp_path / "by panel.csv").read_bytes()
    for number, layers in enumerate(
        ([viewer.layers[0]], [panel.binding.layer("landmarks")], list(viewer.layers))
    ):
        offered, writers = file_extensions_string_for_layers(layers)
        assert "Periapical measurement results table (*.results.csv)" in offered
        writer = next(one for one in writers if one.command == f"{NAME}.write_results")
        viewer.layers.selection = set(layers)
        # as the dialog hands it on: with the chosen writer, and the name as typed
        (path,) = viewer.layers.save(str(tmp_path / f"typed {number}"), selected=True, _writer=writer)
        assert path == str(tmp_path / f"typed {number}.results.csv")
        assert Path(path).read_bytes() == expected
        assert "Table saved: 1 canal" in panel.message.text()


def test_what_cannot_be_written_is_refused_in_words(at_work, tmp_path):
    viewer, _ = at_work
    path = tmp_path / "x.results.csv"

    def save(*layers):
        viewer.layers.selection = set(layers)
        viewer.layers.save(str(path), selected=True)

    with pytest.raises(OSError, match=r"mine: no layer of a measured radiograph"):
        save(viewer.add_points([[1.0, 2.0]], name="mine"))
    first = viewer.layers[0]
    other = add(viewer, plain_radiograph(seed=5))
    with pytest.raises(OSError, match="No landmark is placed yet"):
        save(other)
    with pytest.raises(OSError, match="not the image that is worked on"):
        write_results(str(path), [first.as_layer_data_tuple()])
    assert not path.exists()
    viewer.layers.selection = {first}
    with pytest.raises(OSError, match="no such folder"):
        viewer.layers.save(str(tmp_path / "no such folder" / "x.results.csv"), selected=True)


def test_the_writer_says_so_where_nothing_is_measured(monkeypatch, tmp_path):
    monkeypatch.setattr("napari.current_viewer", lambda: None)
    data, kwargs, kind = image_layer(plain_radiograph(), frame_of(1.0, None, millimetres=False))
    with pytest.raises(OSError, match="no viewer open"):
        write_results(str(tmp_path / "x.results.csv"), [(data, kwargs, kind)])


def test_points_of_others_are_still_saved_by_napari(at_work, display, tmp_path):
    import napari_builtins
    from npe2 import PluginManifest

    display.register(PluginManifest.from_file(Path(napari_builtins.__file__).with_name("builtins.yaml")))
    viewer, _ = at_work
    mine = viewer.add_points([[1.0, 2.0]], name="mine")
    for name in ("mine.csv", "mine"):
        viewer.layers.selection = {mine}
        (path,) = viewer.layers.save(str(tmp_path / name), selected=True)
        assert Path(path).read_text().splitlines()[0] == "index,axis-0,axis-1"
