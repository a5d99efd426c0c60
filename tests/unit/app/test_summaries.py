import json
from pathlib import Path

import pytest

from emberline import app
from emberline.app import STORE_NAME, summaries
from emberline.app.stored import Announcements, analysis_of
from emberline.bench.plan_values import changed
from emberline.curves.events import Event, EventKind
from emberline.store.errors import StoreBusyError, StoreMissingError, UnknownTrialError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from emberline.trials.corrections import AddEvent, Change, Correction, DeleteEvent, EditPlan, MoveEvent, Target, Undo
from emberline_sim.files import write_csv, write_plan
from stored_burn import recording
from unit.app.small_burn import NOON_NS


def test_a_stored_summary_is_not_worked_out_again(
    imported: tuple[Path, app.Summary], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, summary = imported
    monkeypatch.setattr(summaries, "analysis_of", lambda *_, **__: pytest.fail("worked out again"))
    again = app.summary_of(folder / "data", "last")
    assert again.text == summary.text
    assert [trial.id for trial, _ in app.listed(folder / "data")] == [summary.trial.id]
    assert app.listed(folder / "data")[0][1] == summary.document


def test_a_trial_that_got_its_plan_later_is_listed_under_the_plans_label(tmp_path: Path) -> None:
    with Store.open(tmp_path / STORE_NAME) as store:
        trial = store.create_trial(bench="yard", start_ns=NOON_NS, zone="UTC")
        assert app.listed(tmp_path)[0][0].label is None
        store.save_plan(trial.id, 'label = "chips, run 3"\n')
    assert app.listed(tmp_path)[0][0].label == "chips, run 3"


def test_another_version_works_it_out_anew_from_the_stored_samples_to_the_same_bytes(
    imported: tuple[Path, app.Summary], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, summary = imported
    page = summary.page.read_bytes()
    with Store.open(folder / "data" / STORE_NAME) as store:
        store.save_summary(summary.trial.id, json.dumps({"old": True}), "0.0.1")
    summary.page.unlink()
    again = app.summary_of(folder / "data", summary.trial.id)
    assert again.text == summary.text
    assert again.page.read_bytes() == page
    kept = StoreReader(folder / "data" / STORE_NAME).summary(summary.trial.id)
    assert kept is not None
    assert kept.document == summary.text


def test_while_another_program_records_the_summary_is_shown_all_the_same(imported: tuple[Path, app.Summary]) -> None:
    folder, summary = imported
    summary.page.unlink()
    shorter = folder / "shorter.csv"
    shorter.write_text("\n".join((folder / "burn.csv").read_text().splitlines()[:-60]))
    with Store.open(folder / "data" / STORE_NAME):
        assert app.summary_of(folder / "data", summary.trial.id).text == summary.text
        with pytest.raises(StoreBusyError):
            app.import_burn(shorter, folder / "data")


def test_what_is_not_there(tmp_path: Path) -> None:
    for call in (
        lambda: app.summary_of(tmp_path, "last"),
        lambda: app.export_trial(tmp_path, "last", tmp_path / "x.csv", raw=True),
        lambda: app.listed(tmp_path),
    ):
        with pytest.raises(StoreMissingError):
            call()
    Store.open(tmp_path / STORE_NAME).close()
    assert app.listed(tmp_path) == []
    with pytest.raises(UnknownTrialError, match="no trial yet"):
        app.summary_of(tmp_path, "last")
    with pytest.raises(UnknownTrialError, match="'7'"):
        app.summary_of(tmp_path, "7")


BURN_S = 780
FLAMEOUT_S = 400.0


@pytest.fixture(scope="module")
def burnt(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Import a whole burn."""
    folder = tmp_path_factory.mktemp("burnt")
    burn = recording(str(folder))
    write_csv(burn, folder / "burn.csv")
    write_plan(burn, folder / "plan.toml")
    return folder / "data", app.import_burn(
        folder / "burn.csv", folder / "data", plan_text=(folder / "plan.toml").read_text()
    ).trial.id


def times(document: app.Document, kind: str) -> list[float]:
    return [event["t_s"] for event in document["events"] if event["kind"] == kind]


def test_a_correction_is_worked_in_wherever_the_summary_is_asked_for(burnt: tuple[Path, str]) -> None:
    data, name = burnt
    before = app.summary_of(data, name)
    (found_s,) = times(before.document, "flameout")
    moved = MoveEvent(Target(EventKind.FLAMEOUT, found_s), FLAMEOUT_S, 2.0)
    (boil_s,) = times(before.document, "boil")
    with Store.open(data / STORE_NAME) as store:
        store.add_correction(name, Correction(1, NOON_NS, "Ana", "saw it die", moved))
        store.add_correction(
            name, Correction(2, NOON_NS, "Ana", "never bubbled", DeleteEvent(Target(EventKind.BOIL, boil_s)))
        )
        edit = EditPlan({"fuel.char_left_g": (None, 9.5)})
        plan = changed(store.trial(name).plan_text, {"fuel.char_left_g": 9.5})
        store.add_correction(name, Correction(3, NOON_NS, "Ben", "", edit), plan)
    after = app.summary_of(data, name)
    assert times(after.document, "flameout") == [FLAMEOUT_S]
    assert times(after.document, "boil") == []
    assert "time_to_boil" in after.document["absent"]
    assert after.document["results"]["burn_time"]["value"] < before.document["results"]["burn_time"]["value"]
    assert [entry["who"] for entry in after.document["corrections"]] == ["Ana", "Ana", "Ben"]
    page = after.page.read_text(encoding="utf-8")
    assert "Flameout moved to" in page
    assert "never bubbled" in page
    assert "char 9.5" in page.replace("\N{NO-BREAK SPACE}", " ")
    assert json.loads(StoreReader(data / STORE_NAME).listings()[name])["corrected"]
    # Worked out again, it is the same to the byte; taken back, it is what it was but for the history.
    bytes_before = {path.name: path.read_bytes() for path in after.folder.iterdir()}
    after.page.unlink()
    assert app.summary_of(data, name).text == after.text
    assert {path.name: path.read_bytes() for path in after.folder.iterdir()} == bytes_before
    with Store.open(data / STORE_NAME) as store:
        text = changed(store.trial(name).plan_text, {"fuel.char_left_g": None})
        for number, of in enumerate((3, 2, 1), 4):
            store.add_correction(name, Correction(number, NOON_NS, "Eva", "", Undo(of)), text if of == 3 else None)
    undone = app.summary_of(data, name).document
    assert {key: value for key, value in undone.items() if key != "corrections"} == {
        key: value for key, value in before.document.items() if key != "corrections"
    }
    assert [entry["undone_by"] for entry in undone["corrections"]] == [6, 5, 4, None, None, None]


def test_a_remark_that_is_added_afterwards_counts_once_and_goes_again(burnt: tuple[Path, str]) -> None:
    data, name = burnt
    with Store.open(data / STORE_NAME) as store:
        number = len(store.corrections(name))
        remark = AddEvent(EventKind.NOTE, 300.0, 1.0)
        store.add_correction(name, Correction(number + 1, NOON_NS, "Ana", "low power", remark))
    for _ in range(2):
        noted = app.summary_of(data, name)
        assert times(noted.document, "note") == [300.0]
        noted.page.unlink()
    with Store.open(data / STORE_NAME) as store:
        store.add_correction(name, Correction(number + 2, NOON_NS, "Ana", "", Undo(number + 1)))
    assert times(app.summary_of(data, name).document, "note") == []


def test_the_parts_and_curves_for_other_pages_are_written_beside_the_summary(burnt: tuple[Path, str]) -> None:
    data, name = burnt
    folder = app.summary_of(data, name).folder
    assert set(json.loads((folder / "parts.json").read_text(encoding="utf-8"))) == {"head", "rest"}
    assert json.loads((folder / "curves.json").read_text(encoding="utf-8"))["end_s"] == BURN_S
    assert (folder / "curves.svg").read_text(encoding="utf-8").startswith("<svg xmlns=")
    lines = (folder / "seconds.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("t_s,")
    assert len(lines) == BURN_S + 1


def test_an_event_that_was_deleted_and_put_back_has_its_announcement(burnt: tuple[Path, str]) -> None:
    # The final pass keeps the events that it finds: one that was deleted meanwhile took its announcement with it.
    data, name = burnt
    with Store.open(data / STORE_NAME) as store:
        number = len(store.corrections(name))

        def boils(change: Change) -> list[Event]:
            """Correct the trial, pass over it to whom what was saved stands, and return the boils that are kept."""
            nonlocal number
            number += 1
            store.add_correction(name, Correction(number, NOON_NS, "Ana", "", change))
            analysis = analysis_of(store, store.trial(name), Announcements.STORED)
            store.save_events(name, analysis.events, analysis.retracted)
            return [event for event in store.events(name) if event.kind is EventKind.BOIL]

        (boil,) = [event for event in store.events(name) if event.kind is EventKind.BOIL]
        assert boil.announced_t_s is not None
        target = Target(EventKind.BOIL, boil.t_s, announced_t_s=boil.announced_t_s)
        assert boils(DeleteEvent(target)) == []
        assert boils(Undo(number)) == [boil]
        # Moved further than an event is taken for the same, and put back.
        (moved,) = boils(MoveEvent(target, boil.t_s + 90.0, 2.0))
        assert moved.by_person
        assert boils(Undo(number)) == [boil]
