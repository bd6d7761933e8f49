"""A directory of files as a whole: all or nothing, twice, corrected, only checked."""

from collections import Counter
from datetime import date

import pytest
import time_machine
from django.conf import settings
from django.core.management import CommandError, call_command

from cells.models import (
    AreaTarget,
    Cell,
    Change,
    Line,
    Placement,
    Reading,
    Shift,
    StaleMark,
    WorkedBreak,
)
from config.demo.plant.small import NOW as DEMO_NOW
from config.loading import FILES, load
from maintenance.models import (
    PlannedStop,
    ShiftConfirmation,
    StepResult,
    Stop,
    Tally,
    Task,
)
from oee.models import Count, ProductionPlan
from tests.plant_files import (
    NOW,
    SMALL,
    and_rows,
    fault_texts,
    load_files,
    with_rows,
    write_files,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]


@pytest.fixture
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def loaded(tmp_path):
    """The directory of the small plant, loaded, with all its marks worked off."""
    assert load_files(tmp_path, SMALL).faults == []
    StaleMark.objects.all().delete()
    return tmp_path


def outcomes(report):
    return {
        outcome.file: (outcome.new, outcome.changed, outcome.unchanged)
        for outcome in report.outcomes
        if outcome.new or outcome.changed
    }


def marks():
    """How often each cell-shift is marked."""
    rows = StaleMark.objects.values_list(
        "cell__code", "shift__production_date", "shift__name"
    )
    return Counter((cell, day.isoformat()[5:], name) for cell, day, name in rows)


def changes():
    rows = Change.objects.order_by("id").values_list(
        "kind", "record", "field", "old", "new", "why", "door", "by"
    )
    return list(rows)


def test_every_file_of_the_contract_is_loaded(tmp_path):
    report = load_files(tmp_path, SMALL)
    assert report.faults == []
    assert sorted(SMALL) == sorted(FILES)
    rows = {name: text.count("\n") - 1 for name, text in SMALL.items()}
    assert outcomes(report) == {name: (count, 0, 0) for name, count in rows.items()}


def test_what_was_loaded_is_there(loaded):
    assert Line.objects.get(code="L1").counting_cell.code == "L1-20"
    assert AreaTarget.objects.get().valid_from == date(2026, 1, 1)
    assert Cell.objects.get(code="L1-10").lockout_date == date(2025, 11, 3)
    stop = Stop.objects.get(ref="S1")
    assert (stop.parts_wait_s, stop.cause, stop.position) == (60, "loose shunt", "R01")
    assert Stop.objects.get(ref="S2").ended_at is None
    assert Stop.objects.get(ref="S3").withdrawn
    assert PlannedStop.objects.get().line.code == "L1"
    assert Tally.objects.get().seconds == 540
    assert sorted(count.at for count in Count.objects.all()) == [
        "L1",
        "L1-10",
        "L1-20",
        "L2/L",
    ]
    assert ProductionPlan.objects.get().bodies == 520
    assert ShiftConfirmation.objects.get().shift.name == "Early"
    assert WorkedBreak.objects.get().cell.code == "L1-10"


def test_a_completions_reading_is_a_reading_like_any_other(loaded):
    values = Reading.objects.filter(meter__name="spots").values_list("value", flat=True)
    assert [int(value) for value in values] == [1000, 5000, 9000]


def test_a_completion_is_of_the_machine_or_of_its_place(loaded):
    force, pin = Task.objects.done().order_by("routine__code")
    assert (force.clock, force.cell.code) == (f"m:{force.machine_id}", "L1-10")
    assert (pin.clock, pin.machine.serial) == (f"p:{pin.cell_id}:R01", "R2")
    results = StepResult.objects.order_by("number")
    assert [(one.task, one.number) for one in results] == [(force, 1), (force, 2)]


def test_completions_are_judged_and_the_next_tasks_opened(loaded):
    assert Task.objects.done().get(routine__code="force").verdict
    # Force on R1; the pin where R1 and R2 stand.
    places = Task.objects.open().values_list("routine__code", "machine__serial")
    assert sorted(places) == [("force", "R1"), ("pin", "R1"), ("pin", "R2")]


def test_shifts_are_made_from_the_first_pattern_to_eight_weeks_ahead(loaded):
    of_line = Shift.objects.filter(line__code="L1").order_by("production_date")
    assert of_line.first().production_date == date(2026, 3, 2)
    assert of_line.last().production_date == date(2026, 4, 29)
    assert of_line.filter(production_date=date(2026, 3, 7)).count() == 1
    off = Shift.objects.filter(line__code="L2", production_date=date(2026, 3, 6))
    assert not off.exists()


def test_new_shifts_are_marked_once_for_each_cell(tmp_path):
    load_files(tmp_path, SMALL)
    assert set(marks().values()) == {1}
    assert len(marks()) == 2 * Shift.objects.count()  # two cells in each line


def test_formulas_are_text_as_they_are(loaded):
    assert Stop.objects.get(ref="S1").note == "=1+1"


def test_loading_twice_changes_nothing(loaded):
    tasks = list(Task.objects.order_by("pk").values())
    report = load(loaded)
    assert report.faults == []
    assert outcomes(report) == {}
    assert not Change.objects.exists()
    assert not StaleMark.objects.exists()
    assert list(Task.objects.order_by("pk").values()) == tasks


def test_columns_may_come_in_any_order(tmp_path):
    header, *rows = [line.split(",") for line in SMALL["counts.csv"].splitlines()]
    turned = "\n".join(",".join(reversed(row)) for row in [header, *rows]) + "\n"
    load_files(tmp_path, {**SMALL, "counts.csv": turned})
    assert load_files(tmp_path, SMALL).faults == []
    assert Count.objects.get(cell__code="L1-10").good == 500
    assert not Change.objects.exists()


def test_a_changed_row_is_a_correction_with_trail_and_marks(loaded):
    changed = SMALL["stops.csv"].replace("02T07:30", "02T14:30")
    report = load_files(loaded, {**SMALL, "stops.csv": changed})
    assert report.faults == []
    assert outcomes(report) == {"stops.csv": (0, 1, 2)}
    assert changes() == [
        (
            "stop",
            "L1-10 Gun fault",
            "ended_at",
            "2026-03-02T06:30:00Z",
            "2026-03-02T13:30:00Z",
            "load_plant stops.csv",
            "import",
            None,
        )
    ]
    # What it touched and what it touches now; each once.
    assert marks() == {
        ("L1-10", "03-02", "Early"): 1,
        ("L1-10", "03-02", "Late"): 1,
    }


def test_what_a_stop_touched_before_is_marked_too(loaded):
    moved = (
        SMALL["stops.csv"].splitlines()[2]
        + "\nS3,L1-20,,tip,2026-03-02T10:00,2026-03-02T10:10,,,,,,,,,,no\n"
    )
    load_files(loaded, with_rows("stops.csv", moved.strip()))
    assert marks() == {("L1-20", "03-02", "Early"): 1}
    assert [change[2:5] for change in changes()] == [
        ("reason", "Gun fault", "Tip stick"),
        ("withdrawn", "yes", "no"),
    ]


@pytest.mark.parametrize(
    ("file", "old", "new", "marked"),
    [
        pytest.param(
            "tallies.csv", "7,540", "8,540", {("L1-10", "03-02", "Early")}, id="tally"
        ),
        pytest.param(
            "counts.csv",
            "H,500,490,8,2",
            "H,501,490,9,2",
            # L1-10 has a count of its own.
            {("L1-20", "03-02", "Early")},
            id="line-count",
        ),
        pytest.param(
            "counts.csv",
            "H,300,300",
            "H,300,299",
            {("L2-10", "03-02", "Early")},
            id="leg-count",
        ),
        pytest.param("counts.csv", "H,20,20", "H,21,20", set(), id="count-unplanned"),
        pytest.param(
            "planned_stops.csv",
            "03T06:15",
            "03T06:10",
            {("L1-10", "03-03", "Early"), ("L1-20", "03-03", "Early")},
            id="planned-stop",
        ),
        pytest.param("stops.csv", "loose shunt", "burnt shunt", set(), id="cause"),
        pytest.param("plan.csv", "520", "530", set(), id="plan"),
        pytest.param("confirmations.csv", "14:05", "14:06", set(), id="confirmed-at"),
        pytest.param("cells.csv", "Load", "Loading", set(), id="cell-name"),
        pytest.param("reasons.csv", "Gun fault", "Gun", set(), id="reason-name"),
        pytest.param("machines.csv", "210 kg", "220 kg", set(), id="machine"),
        pytest.param("areas.csv", "0.77", "0.78", set(), id="target"),
        pytest.param("lines.csv", ",1,L1-20", ",1,L1-10", set(), id="counting-cell"),
        pytest.param("done.csv", ",17,", ",18,", set(), id="minutes"),
        pytest.param("readings.csv", "9000", "9001", set(), id="reading"),
    ],
)
def test_a_correction_marks_exactly_what_it_touches(loaded, file, old, new, marked):
    assert old in SMALL[file]
    report = load_files(loaded, {**SMALL, file: SMALL[file].replace(old, new)})
    assert report.faults == []
    assert [counts[1] for counts in outcomes(report).values()] == [1]
    assert set(marks()) == marked
    assert {(change[5], change[6]) for change in changes()} == {
        (f"load_plant {file}", "import")
    }


def test_a_new_ideal_cycle_marks_its_cell_from_its_date_on(loaded):
    load_files(loaded, and_rows("ideal_cycles.csv", "L1-10,H,44,2026-03-03"))
    first = min(day for _, day, _ in marks())
    assert first == "03-03"
    assert {cell for cell, _, _ in marks()} == {"L1-10"}


def test_a_changed_calendar_alters_the_shifts_from_its_pattern_on(loaded):
    longer = SMALL["shift_patterns.csv"].replace("22:00,18", "22:30,18")
    report = load_files(loaded, {**SMALL, "shift_patterns.csv": longer})
    assert report.faults == []
    late = Shift.objects.get(
        line__code="L1", production_date=date(2026, 3, 2), name="Late"
    )
    assert late.ends_at.isoformat() == "2026-03-02T21:30:00+00:00"
    assert {name for _, _, name in marks()} == {"Late"}
    assert {change[6] for change in changes()} == {"import"}


def test_a_cell_that_comes_later_has_the_shifts_of_its_line(loaded):
    load_files(loaded, and_rows("cells.csv", "L1-30,L1,Respot,30,,,,,,"))
    of_line = Shift.objects.filter(line__code="L1")
    assert len(marks()) == of_line.count()
    assert {cell for cell, _, _ in marks()} == {"L1-30"}


def test_a_column_that_is_left_out_corrects_nothing(loaded):
    Stop.objects.filter(ref="S1").update(withdrawn=True)
    short = (
        "ref,cell,reason,started_at,ended_at\n"
        "S1,L1-10,gun,2026-03-02T07:00,2026-03-02T07:30\n"
    )
    report = load_files(loaded, {"stops.csv": short})
    assert outcomes(report) == {}
    assert Stop.objects.get(ref="S1").withdrawn
    assert Stop.objects.get(ref="S1").cause == "loose shunt"


def test_a_withdrawn_count_comes_back_only_with_other_numbers(loaded):
    Count.objects.filter(cell__code="L1-10").update(withdrawn=True)
    load_files(loaded, SMALL)
    assert Count.objects.get(cell__code="L1-10").withdrawn
    load_files(
        loaded, {**SMALL, "counts.csv": SMALL["counts.csv"].replace("505", "506")}
    )
    assert not Count.objects.get(cell__code="L1-10").withdrawn
    assert [change[2] for change in changes()] == ["total", "withdrawn"]


def test_a_withdrawn_reading_stays_so_until_another_value_comes(loaded):
    Reading.objects.filter(value=9000).update(withdrawn=True)
    load_files(loaded, SMALL)
    assert Reading.objects.counting().filter(value=9000).count() == 0
    load_files(
        loaded, {**SMALL, "readings.csv": SMALL["readings.csv"].replace("9000", "9001")}
    )
    assert Reading.objects.counting().filter(value=9001).count() == 1


def test_loading_confirms_a_questioned_reading(loaded):
    Reading.objects.filter(value=9000).update(confirmed=False, question="Really?")
    load_files(loaded, SMALL)
    assert Reading.objects.get(value=9000).confirmed
    assert [change[2:5] for change in changes()] == [("confirmed", "no", "yes")]


def test_a_machine_may_move_within_one_file(loaded):
    moved = SMALL["machines.csv"].replace(
        "gun;pack,\n",
        "gun;pack,2026-03-03\nR1,weld,L1-20,R09,2026-03-03,210 kg class,gun;pack,\n",
    )
    report = load_files(loaded, {**SMALL, "machines.csv": moved})
    assert report.faults == []
    assert outcomes(report) == {"machines.csv": (1, 1, 2)}
    assert (
        Placement.objects.get(machine__serial="R1", removed_on=None).position == "R09"
    )


def test_a_fault_anywhere_saves_nothing_at_all(tmp_path):
    files = and_rows("step_results.csv", "force,R1,2026-02-16T23:30,1,x")
    assert len(fault_texts(tmp_path, files)) == 1
    assert not Cell.objects.exists()
    assert not Shift.objects.exists()
    assert not StaleMark.objects.exists()


def test_a_fault_leaves_what_was_there(loaded):
    files = {
        **with_rows("plan.csv", "L1,2026-03-02,Early,521", "L1,2026-03-03,Early,-1"),
        "cells.csv": SMALL["cells.csv"].replace("Geo", "Geometry"),
    }
    assert len(fault_texts(loaded, files)) == 1
    assert ProductionPlan.objects.get().bodies == 520
    assert Cell.objects.get(code="L1-20").name == "Geo"
    assert not Change.objects.exists()


def test_faults_of_all_files_are_told_at_once_in_order(tmp_path):
    files = {
        **SMALL,
        "cells.csv": SMALL["cells.csv"] + "L1-40,L9,x,1,,,,,,\n",
        "counts.csv": SMALL["counts.csv"] + "L1,2026-03-02,Late,,,H,5,6,,\n",
        "areas.csv": SMALL["areas.csv"] + "PAINT,Paint shop,2,\n",
    }
    assert fault_texts(tmp_path, files) == [
        "areas.csv, line 3, column oee_target: '2' is too large: write at most 1.",
        "cells.csv, line 6, column line: No line has the code 'L9': write one of L1, "
        "L2, or add it to lines.csv.",
        "counts.csv, line 6, column good: First-time good (6) is above the total made "
        "(5): check both.",
    ]


@pytest.mark.parametrize(
    ("file", "old", "new", "column"),
    [
        pytest.param("areas.csv", "0.77", "77", "oee_target", id="area"),
        pytest.param("lines.csv", "Underbody,1", "Underbody,one", "order", id="line"),
        pytest.param("cells.csv", "Load,10", "Load,x", "order", id="cell"),
        pytest.param("machines.csv", "R1,weld", "R1,welder", "kind", id="machine"),
        pytest.param("meters.csv", "1200", "many", "max_per_hour", id="meter"),
        pytest.param("reasons.csv", "breakdown", "broken", "loss_class", id="reason"),
        pytest.param("variants.csv", "H,hatch", "H, ", "name", id="variant"),
        pytest.param("routines.csv", "force,Weld", "force,Weld", "", id="routine"),
        pytest.param("shift_patterns.csv", "mon-fri,06", "m-f,06", "weekdays", id="x"),
        pytest.param("done.csv", ",17,", ",-17,", "minutes", id="done"),
        pytest.param("steps.csv", "1.84,1.90", "1.91,1.90", "watch_low", id="step"),
    ],
)
def test_a_refused_row_is_not_blamed_again_by_those_that_name_it(
    tmp_path, file, old, new, column
):
    assert old in SMALL[file]
    if file == "routines.csv":
        old, new, column = "weld,28,150000", "weld,0,150000", "every_days"
    (text,) = fault_texts(tmp_path, {**SMALL, file: SMALL[file].replace(old, new, 1)})
    assert text.startswith(f"{file}, line 2, column {column}: ")


def test_an_unreadable_file_is_not_blamed_again_by_those_that_name_its_rows(tmp_path):
    latin = SMALL["reasons.csv"].replace("Gun fault", "Zange gestört").encode("latin-1")
    (text,) = fault_texts(tmp_path, {**SMALL, "reasons.csv": latin})
    assert text.startswith("reasons.csv, line 2: Byte ")
    assert "is not UTF-8" in text


def test_a_byte_order_mark_and_crlf_are_read(tmp_path):
    files = {
        name: b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()
        for name, text in SMALL.items()
    }
    assert load_files(tmp_path, files).faults == []


def test_checking_saves_nothing_and_says_what_would_be(loaded, capsys):
    changed = {**SMALL, "plan.csv": SMALL["plan.csv"].replace("520", "530")}
    call_command("load_plant", str(write_files(loaded, changed)), "--check")
    out = capsys.readouterr()
    assert out.out == ""
    assert "plan.csv: 0 new, 1 changed, 0 unchanged\n" in out.err
    assert out.err.endswith("Only checked: nothing was loaded.\n")
    assert ProductionPlan.objects.get().bodies == 520
    assert not Change.objects.exists()


def test_the_command_says_what_it_loaded(tmp_path, capsys):
    call_command("load_plant", str(write_files(tmp_path, SMALL)))
    out = capsys.readouterr()
    assert out.out == ""
    assert "stops.csv: 3 new, 0 changed, 0 unchanged\n" in out.err


def test_the_command_fails_with_every_fault_on_standard_error(tmp_path, capsys):
    files = with_rows("variants.csv", "H,", "H,x")
    with pytest.raises(CommandError, match="1 fault: nothing was loaded") as failed:
        call_command("load_plant", str(write_files(tmp_path, files)))
    assert failed.value.returncode == 1
    assert (
        "variants.csv, line 2, column name: name is empty: fill it in.\n"
        in capsys.readouterr().err
    )


def test_a_missing_directory_is_a_sentence(tmp_path):
    (fault,) = load(tmp_path / "nowhere").faults
    assert str(fault) == (
        f"{tmp_path / 'nowhere'}: There is no such directory: check the path."
    )


def test_an_empty_directory_is_a_sentence(tmp_path):
    (fault,) = load(tmp_path).faults
    assert str(fault).startswith(
        f"{tmp_path}: The directory holds none of the files to load: plant.csv, "
    )


def test_an_unknown_csv_file_is_not_dropped_silently(tmp_path):
    (text,) = fault_texts(tmp_path, {**SMALL, "stop.csv": "ref\n"})
    assert text.startswith("stop.csv: No file of that name is loaded: name it as one")
    assert not Cell.objects.exists()


def test_other_files_beside_the_plants_are_no_matter(tmp_path):
    assert load_files(tmp_path, {**SMALL, "README.md": "# Our plant"}).faults == []


def test_without_a_plant_no_time_zone_is_guessed(tmp_path):
    files = {"areas.csv": SMALL["areas.csv"]}
    assert fault_texts(tmp_path, files) == [
        "plant.csv: Nothing says yet which plant this is, and in which time zone: add "
        "it."
    ]


def test_progress_is_told_file_by_file(tmp_path):
    told = []
    load(write_files(tmp_path, SMALL), progress=lambda *args: told.append(args))
    assert [file for file, done, total in told] == FILES
    assert ("stops.csv", 3, 3) in told


def test_the_committed_demo_plant_loads_and_loads_again():
    directory = settings.BASE_DIR / "fixtures" / "demo"
    with time_machine.travel(DEMO_NOW, tick=False):
        first, again = load(directory), load(directory)
    assert first.faults == []
    assert again.faults == []
    assert all(outcome.new for outcome in first.outcomes)
    assert outcomes(again) == {}
    assert set(marks().values()) == {1}


def test_what_is_no_file_is_not_left_out_in_silence(loaded):
    (loaded / "stops.csv").unlink(missing_ok=True)
    (loaded / "stops.csv").mkdir()
    (loaded / "counts.csv").unlink(missing_ok=True)
    (loaded / "counts.csv").symlink_to("nowhere")

    assert [str(fault) for fault in load(loaded).faults] == [
        f"{name}: This is no file that can be read: put a CSV file in its place."
        for name in ("counts.csv", "stops.csv")
    ]
