"""Fields with text that is typed and not entered while canal, image or result change below them."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from napari_periapical.controller import Controller
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import Answer
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.test_checks import with_checks

pytest.importorskip("qtpy")


@pytest.fixture
def work(display, qtbot):
    from napari_periapical.parts.form import FactsForm

    controller = Controller(measure=straight_length)
    controller.open(plain_radiograph(), [CaseFacts(tooth="36", scale_from="none")])
    form = FactsForm(controller, ("canal", "tooth", "file_length_mm"))
    qtbot.addWidget(form)
    controller.changed.connect(form.refresh)
    form.refresh()
    told = []
    controller.told.connect(lambda level, text: told.append((level, text)))
    yield SimpleNamespace(controller=controller, form=form, told=told)
    controller.changed.disconnect(form.refresh)


def half_type(form, name, text):
    line = form.lines[name]
    line.selectAll()
    line.insert(text)
    assert line.isModified()
    return line


def facts(work, name):
    return [getattr(one.facts, name) for one in work.controller.session.sheet.canals]


def test_what_is_typed_for_a_canal_is_stated_for_it_when_another_is_added(work):
    line = half_type(work.form, "file_length_mm", "21,5")
    work.controller.add_canal()
    assert facts(work, "file_length_mm") == [21.5, None]
    assert (line.text(), line.isModified()) == ("", False)
    line.editingFinished.emit()  # the focus leaves it now
    assert facts(work, "file_length_mm") == [21.5, None]
    assert work.controller.session.sheet.active == 1
    work.controller.undo()
    assert facts(work, "file_length_mm") == [None, None]


def test_what_is_typed_for_an_image_is_stated_for_it_when_another_is_opened(work):
    line = half_type(work.form, "file_length_mm", "21,5")
    left = work.controller.session
    work.controller.open(plain_radiograph(seed=5), [CaseFacts(scale_from="none")])
    line.editingFinished.emit()
    assert facts(work, "file_length_mm") == [None]
    assert left.sheet.canal.facts.file_length_mm == 21.5
    work.controller.open(left.radiograph)
    assert line.text() == "21.5"
    assert work.controller.undoable == "stating file length"


def test_what_is_typed_is_stated_for_its_image_when_that_is_closed(work):
    half_type(work.form, "tooth", "46")
    left = work.controller.session
    work.controller.close()
    assert left.sheet.canal.facts.tooth == "46"


def test_wrong_text_for_another_canal_is_dropped_and_named(work):
    line = half_type(work.form, "file_length_mm", "twenty")
    work.controller.add_canal()
    line.editingFinished.emit()
    assert facts(work, "file_length_mm") == [None, None]
    assert line.text() == ""
    level, text = work.told[-1]
    assert level == "problem"
    assert "File length, mm: 'twenty'" in text
    assert "10 to 40" in text


def test_text_for_a_canal_that_is_gone_is_dropped_and_named(work):
    work.controller.add_canal()
    line = half_type(work.form, "file_length_mm", "21,5")
    work.controller.remove_canal()
    line.editingFinished.emit()
    assert facts(work, "file_length_mm") == [None]
    assert "'21,5' was typed and not entered" in work.told[-1][1]


def test_a_half_typed_answer_stays_when_a_result_arrives(display, qtbot):
    from napari_periapical.parts.checks import ChecksList

    controller = Controller(measure=with_checks)
    controller.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 50.0))
    checks = ChecksList(controller)
    qtbot.addWidget(checks)
    controller.measured.connect(checks.refresh)
    checks.table.selectRow(0)
    checks.choice.setCurrentText("accepted")
    checks.note.setText("seen enl")
    controller.begin_move("apex", 0)
    controller.move_to((42.0, 50.0))
    controller.end_move()
    assert (checks.choice.currentText(), checks.note.text()) == ("accepted", "seen enl")
    checks.note.returnPressed.emit()
    assert controller.canal.facts.answers == (Answer("P9", "accepted", "seen enl"),)

    # it stays chosen where it is listed now
    assert "Do: do" in checks.details.text()
    assert checks.table.currentRow() == 2
    assert checks.choice.currentText() == "accepted"

    # another check begins empty, and a note alone is no answer
    checks.table.selectRow(0)
    assert (checks.choice.currentText(), checks.note.text()) == ("no answer", "")
    checks.note.setText("later")
    checks.note.returnPressed.emit()
    assert "with an answer" in checks.problem.text()
    assert checks.note.text() == "later"
    assert len(controller.canal.facts.answers) == 1
    controller.measured.disconnect(checks.refresh)


@pytest.mark.parametrize(("text", "value"), [("2,5", 2.5), ("much", None)])
def test_a_setting_half_typed_holds_for_its_own_image_alone(work, qtbot, text, value):
    from napari_periapical.parts.settings import SettingsForm

    controller = work.controller
    settings = SettingsForm(controller)
    qtbot.addWidget(settings)
    controller.changed.connect(settings.refresh)
    settings.refresh()
    left, usual = controller.session, controller.canal.settings.apical_portion_mm
    line = half_type(settings, "apical_portion_mm", text)
    controller.open(plain_radiograph(seed=5), [CaseFacts(scale_from="none")])
    line.editingFinished.emit()
    assert (line.text(), line.isModified()) == ("", False)
    assert controller.canal.settings.apical_portion_mm == usual
    assert left.sheet.canal.settings.apical_portion_mm == (value or usual)
    assert ("'much'" in work.told[-1][1]) is (value is None)
    controller.changed.disconnect(settings.refresh)
