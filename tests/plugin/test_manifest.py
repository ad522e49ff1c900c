from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from npe2 import PluginManifest

import napari_periapical
from napari_periapical import layers
from napari_periapical.samples import sample_folder
from radio.errors import PeriapicalError
from radio.measure.case import CaseFacts

PATH = Path(napari_periapical.__file__).with_name("napari.yaml")
RAW = yaml.safe_load(PATH.read_text())
NAME = "napari-periapical"


@pytest.fixture
def registered(npe2pm):
    npe2pm.register(PluginManifest.from_file(PATH))
    return npe2pm


def has_samples():
    try:
        return sample_folder() is not None
    except PeriapicalError:
        return False


def test_npe2_finds_the_manifest_valid():
    done = subprocess.run(
        [sys.executable, "-m", "npe2", "validate", str(PATH)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_nothing_in_the_manifest_is_silently_passed_over():
    # npe2 ignores misspelt sections: every key must be one of the model's own
    assert set(RAW) <= set(PluginManifest.model_fields)
    contributions = PluginManifest.model_fields["contributions"].annotation
    assert set(RAW["contributions"]) <= set(contributions.model_fields)


def test_every_command_leads_to_something_that_can_be_called(registered):
    commands = [command["id"] for command in RAW["contributions"]["commands"]]
    assert len(commands) == len(set(commands))
    for command in commands:
        assert callable(registered.commands.get(command))


def test_every_command_is_used_and_every_used_command_is_there():
    given = RAW["contributions"]
    kinds = ("readers", "writers", "widgets", "sample_data")
    used = [one["command"] for kind in kinds for one in given[kind]]
    used += [item["command"] for items in given["menus"].values() for item in items if "command" in item]
    assert set(used) == {command["id"] for command in given["commands"]}


@pytest.mark.parametrize("name", ["a.dcm", "a.DCM", "a.png", "a.tif", "a.TIFF", "a.jpg", "a.JPEG"])
def test_the_reader_is_registered_for_each_kind_of_image(registered, tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"x")
    assert [r.plugin_name for r in registered.iter_compatible_readers([str(path)])] == [NAME]


def test_widget_samples_and_menu_are_registered(registered):
    assert [w.display_name for w in registered.iter_widgets()] == ["Measure root canals"]
    panel, actions = registered.iter_menu("napari/layers/measure")
    assert panel.command == "napari-periapical.panel"
    assert registered.get_submenu(actions.submenu).label == "Root canals"
    listed = [one.command for one in registered.iter_menu(actions.submenu)]
    assert listed == [one["command"] for one in RAW["contributions"]["menus"]["napari-periapical/actions"]]
    assert len(listed) > 10
    keys = [sample.key for _, samples in registered.iter_sample_data() for sample in samples]
    assert keys == [one["key"] for one in RAW["contributions"]["sample_data"]]


def test_napari_lets_plugins_add_to_the_menus_that_are_named():
    from napari._app_model.constants._menus import is_menu_contributable

    assert all(is_menu_contributable(menu) for menu in RAW["contributions"]["menus"])


OURS = (
    ["image"],
    ["points"],
    ["vectors"],
    ["shapes"],
    ["image", *["vectors"] * 5, *["points"] * 4, "shapes"],
)


@pytest.mark.parametrize("types", OURS)
def test_the_writer_is_offered_for_every_mix_of_our_layers_and_takes_its_own_ending_only(registered, types):
    def commands(name):
        writer, _ = registered.get_writer(name, types)
        return writer and writer.command

    assert [w.command for w in registered.iter_compatible_writers(types)] == [f"{NAME}.write_results"]
    assert commands("a.results.csv") == f"{NAME}.write_results"
    assert commands("a.csv") is None  # that of the points layer of others stays napari's
    assert not list(registered.iter_compatible_writers(["labels"]))


def test_every_section_of_the_manifest_is_really_there(registered, plugin_settings):
    from napari.settings import get_plugin_settings

    there = registered.get_manifest(NAME).contributions
    for section, given in RAW["contributions"].items():
        assert len(getattr(there, section)) == len(given), section
    settings = get_plugin_settings(NAME)
    for group, given in RAW["contributions"]["configurations"].items():
        assert set(getattr(settings, group).model_dump()) == set(given["properties"])


@pytest.mark.skipif(not has_samples(), reason="the sample images are not made yet")
def test_every_sample_opens_with_its_facts_and_every_sample_image_is_offered(registered):
    names = set()
    for _, samples in registered.iter_sample_data():
        for sample in samples:
            ((_, kwargs, kind),) = sample.open()
            radiograph, facts = (kwargs["metadata"][key] for key in (layers.RADIOGRAPH, layers.FACTS))
            assert kind == "image"
            assert facts
            assert all(isinstance(one, CaseFacts) for one in facts)
            names.add(radiograph.path.name)
    assert names == {
        p.name for p in sample_folder().iterdir() if p.suffix in (".png", ".tif", ".jpg", ".dcm")
    }


def test_the_distribution_names_the_manifest():
    import tomllib

    root = Path(__file__).parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text())["project"]
    assert project["entry-points"]["napari.manifest"] == {project["name"]: "napari_periapical:napari.yaml"}
    assert RAW["name"] == project["name"]
