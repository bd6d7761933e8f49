"""The due list, a task, many tasks at once, routines, compliance and alerts."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from cells.health import run_checks
from maintenance.models import Crew, FirstDue, Routine, SafetyAlert, Step, Task
from maintenance.tasks import complete_task
from tests.builders import MONDAY, at, make_machine, make_reading
from tests.maintenance.task_cast import (
    keep_in_step,
    make_routine,
    make_step,
    open_task,
    report,
    was_done,
)

FORBIDDEN = 403
REFUSED = 422


@pytest.fixture
def wipe(cast):
    """Late on the robot: never done since 6 January 2025."""
    routine = make_routine(name="Wipe it")
    keep_in_step()
    return routine


@pytest.fixture
def planner(cast, client_of):
    return client_of(cast.people.planner)


@pytest.fixture
def technician(cast, client_of):
    return client_of(cast.people.technician)


@pytest.fixture
def reader(cast, client_of):
    return client_of(cast.people.reader)


def page(client, name, *args, **query) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def form(**facts) -> dict[str, object]:
    return {
        "done_at": "2026-03-02T11:00",
        "found": "normal",
        "minutes": "12",
        "note": "",
        "why": "",
        **facts,
    }


# The due list


def test_it_opens_with_the_overdue_safety_tests_in_words(cast, reader, wipe):
    assert "No safety test is overdue in the plant. 1 task is late" in page(
        reader, "due"
    )
    make_routine("gate", safety=True, name="Gate test")
    keep_in_step()
    text = page(reader, "due")
    assert "1 safety test is overdue in the plant. 2 tasks in all are late" in text
    assert text.index("Gate test</a><small>safety test") < text.index("Wipe it</a>")


def test_the_safety_count_stays_the_plants_whatever_is_chosen(cast, reader, wipe):
    make_routine("gate", safety=True, skills=["X"])
    keep_in_step()
    assert "1 safety test is overdue in the plant. Of what is chosen 1 task" in page(
        reader, "due", skill="M"
    )


def test_the_crew_is_held_against_what_is_due(cast, reader):
    """30 minutes are needed; two nights of 25 minutes, 85 % of it 42 minutes."""
    make_routine(minutes=30)
    keep_in_step()
    crew = Crew.objects.create(
        crew="Night", skill="M", weekdays="mon", start="22:00", end="22:25", heads=1
    )
    text = page(reader, "due")
    assert "The crew is enough." in text
    assert '<td class="num">30 min</td><td class="num">43 min</td>' in text
    crew.heads, crew.weekdays = 1, "sun"
    crew.end = "22:10"
    crew.save()
    assert "The crew is too small for skill M." in page(reader, "due")
    assert "short by 13 min" in page(reader, "due")


def test_it_is_chosen_by_what_stands_in_the_address(cast, reader, wipe):
    make_routine("look", kinds=["handling"], skills=["E"], name="Look at it")
    make_routine("gate", kinds=["gate"], safety=True, name="Gate test")
    keep_in_step()
    for query, names in (
        ({"cell": "L1-10"}, {"Wipe it", "Gate test"}),
        ({"cell": "L1-20"}, {"Look at it"}),
        ({"skill": "E"}, {"Look at it"}),
        ({"only": "safety"}, {"Gate test"}),
        ({"routine": "wipe"}, {"Wipe it"}),
        ({"area": "PAINT"}, set()),
        ({"line": "L1"}, {"Wipe it", "Look at it", "Gate test"}),
        ({"state": "1"}, {"Wipe it", "Look at it"}),
        ({"state": "3"}, set()),
    ):
        text = page(reader, "due", **query)
        found = {
            name
            for name in ("Wipe it", "Look at it", "Gate test")
            if f">{name}</a>" in text
        }
        assert found == names, query


def test_days_ahead_say_how_far_it_looks(cast, reader):
    was_done(make_routine(name="Wipe it"), cast.robot, at("08:00", date(2026, 2, 20)))
    keep_in_step()  # due 20 March, 18 days ahead
    assert "Wipe it</a>" not in page(reader, "due")
    assert "Wipe it</a>" in page(reader, "due", days="18")


@pytest.mark.parametrize("query", [{"days": "many"}, {"area": "X"}, {"state": "9"}])
def test_a_filter_that_cannot_be_read_shows_no_reassuring_count(
    cast, reader, wipe, query
):
    text = page(reader, "due", **query)
    assert "The filter cannot be read" in text
    assert "No safety test" not in text


def test_by_cell_it_prints_with_the_sheet_at_each_cell(cast, reader):
    make_routine(kinds=["weld", "handling"])
    keep_in_step()
    cell = cast.cells[0]
    cell.lockout_sheet, cell.lockout_revision = "LS-10", "C"
    cell.save()
    text = page(reader, "due", group="cell")
    first, second = text.split("Lockout sheet: ")[1:]
    assert first.startswith("LS-10 revision C, as entered.")
    assert "none on record: ask safety." in second
    assert text.index("Before any work in a cell") < text.index("LS-10 revision C")
    assert 'class="tick print-only"' in text


def test_the_rows_come_as_csv(cast, reader, wipe):
    rows = reader.get(reverse("due"), {"csv": "1"}).content.decode().splitlines()
    assert rows[0].startswith("routine,name,serial,area,line,cell,position,due")
    assert rows[1].startswith("wipe,Wipe it,W-0001,BODY,L1,L1-10,R01,2025-02-03")
    assert ",late," in rows[1]


def test_only_who_may_record_chooses_rows(cast, technician, reader, wipe):
    box = 'name="task"'
    assert box in page(technician, "due")
    assert box not in page(reader, "due")


def test_a_long_list_is_paged_and_takes_few_queries(
    cast, reader, django_assert_max_num_queries
):
    make_routine(name="Wipe it")
    for number in range(70):
        make_machine(f"W-{number:04}x", cell=cast.cells[1], position=f"P{number}")
    keep_in_step()
    with django_assert_max_num_queries(20):
        text = page(reader, "due")
    assert "71 tasks on the list" in text
    assert text.count("Wipe it</a>") == 50
    assert page(reader, "due", page="2").count("Wipe it</a>") == 21


# One task


def test_a_task_opens_with_the_cautions(cast, reader):
    grease = make_routine(
        lockout=True, hazards="spring under load", name="Grease", minutes=20
    )
    keep_in_step()
    text = page(reader, "task", open_task(grease, cast.robot).pk)
    caution = text.index("Work under lockout.")
    sheet = text.index("none on record: ask safety.")
    hazards = text.index("as entered: spring under load")
    assert caution < sheet < hazards < text.index("Why due")
    inside = text[text.index("<main") : text.index("</main>")]
    for word in ("is safe", "isolated", "locked"):
        assert word not in inside


def test_the_sheet_is_shown_as_entered_and_prefilled(cast, technician):
    grease = make_routine(lockout=True)
    keep_in_step()
    cell = cast.cells[0]
    cell.lockout_sheet, cell.lockout_revision = "LS-10", "C"
    cell.save()
    text = page(technician, "task", open_task(grease, cast.robot).pk)
    assert "<b>LS-10 revision C</b>, as entered." in text
    assert 'value="LS-10 revision C"' in text


def test_it_says_why_it_is_due_and_what_the_limits_are(cast, technician, by_patterns):
    spin = make_routine(every_days=None, every_units=Decimal(100), meter="motion hours")
    make_step(spin, text="Force", unit="kN", watch_high=Decimal(2), act_high=Decimal(3))
    make_reading(cast.meter, "1000", read_at=at("06:30", date(2026, 2, 2)))
    make_reading(cast.meter, "1040", read_at=at("06:30", date(2026, 2, 9)))
    keep_in_step()
    text = page(technician, "task", open_task(spin, cast.robot).pk)
    assert "Its meter brings the date: never done on record." in text
    assert "1,100 of motion hours; last read 1,040" in text
    assert "(watch above 2 kN, act above 3 kN)" in text


def test_recorded_work_shows_values_beyond_a_limit_in_words(cast, technician, wipe):
    step = make_step(wipe, text="Force", unit="kN", act_high=Decimal(3), repeat=2)
    task = open_task(wipe, cast.robot)
    names = [f"step_{step.pk}_{number}" for number in (1, 2)]
    answer = technician.post(
        task.get_absolute_url(), form(**dict(zip(names, ["3.5", "2"], strict=True)))
    )
    assert answer.status_code == 302
    text = page(technician, "task", task.pk)
    assert '3.5 kN <b class="warn">beyond act: above 3 kN</b>' in text
    assert "reported by technician" in text
    assert ">late<" in text  # the verdict


def test_what_is_refused_stays_on_the_page_with_its_sentence(cast, technician, wipe):
    task = open_task(wipe, cast.robot)
    answer = technician.post(
        task.get_absolute_url(),
        form(done_at="2026-03-02T23:00", minutes="-3", note="keep this"),
    )
    text = answer.content.decode()
    assert answer.status_code == REFUSED
    assert "keep this" in text
    assert "Minutes it took “-3”" in text
    assert Task.objects.done().count() == 0


def test_a_questioned_reading_is_said(cast, technician):
    spin = make_routine(every_units=Decimal(100), meter="motion hours")
    make_reading(cast.meter, "1000", read_at=at("06:30", date(2026, 2, 2)))
    keep_in_step()
    url = open_task(spin, cast.robot).get_absolute_url()
    answer = technician.post(url, form(reading="900"), follow=True)
    assert "moves no due date until a planner has confirmed it" in (
        answer.content.decode()
    )


def test_who_may_not_sees_the_steps_but_no_form(cast, reader, wipe):
    make_step(wipe, text="Look at axis 2")
    task = open_task(wipe, cast.robot)
    text = page(reader, "task", task.pk)
    assert "Look at axis 2" in text
    assert "Record it done" not in text
    answer = reader.post(task.get_absolute_url(), form())
    assert answer.status_code == FORBIDDEN
    assert "a technician or a planner" in answer.content.decode()


def test_a_stranger_to_the_plant_is_asked_to_sign_in(client, cast, wipe):
    for url in (reverse("due"), open_task(wipe, cast.robot).get_absolute_url()):
        assert client.get(url).status_code == 302


@pytest.fixture
def done(cast, wipe):
    return complete_task(**report(cast, open_task(wipe, cast.robot))).task


def test_a_record_is_corrected_and_withdrawn_through_its_page(cast, technician, done):
    assert "Recorded by mistake" in page(technician, "task", done.pk)
    answer = technician.post(
        reverse("task_correct", args=[done.pk]), form(minutes="7", why="misread")
    )
    assert answer.status_code == 302
    text = page(technician, "task", done.pk)
    assert "misread" in text
    technician.post(reverse("task_withdraw", args=[done.pk]), {"why": "other robot"})
    text = page(technician, "task", done.pk)
    assert "Recorded by mistake: other robot" in text


@pytest.mark.parametrize("name", ["task_correct", "task_withdraw"])
def test_who_may_not_correct_is_told_who_may(cast, reader, done, name):
    answer = reader.get(reverse(name, args=[done.pk]))
    assert answer.status_code == FORBIDDEN
    assert "by a planner" in answer.content.decode()


def test_a_task_page_takes_few_queries(
    cast, technician, done, wipe, django_assert_max_num_queries
):
    for task in (done, open_task(wipe, cast.robot)):
        with django_assert_max_num_queries(20):
            page(technician, "task", task.pk)


# Many at once


@pytest.fixture
def two(cast, wipe):
    other = make_machine("W-0002", cell=cast.cells[1], position="R02")
    make_step(wipe, text="Force", unit="kN")
    keep_in_step()
    return [open_task(wipe, cast.robot), open_task(wipe, other)]


def many_url(tasks) -> str:
    query = "&".join(f"task={task.pk}" for task in tasks)
    return f"{reverse('complete_many')}?{query}"


def many(tasks, step: Step, **facts) -> dict[str, object]:
    rows = {}
    for number, task in enumerate(tasks):
        rows[f"minutes__{task.pk}"] = str(5 + number)
        rows[f"step_{step.pk}_1__{task.pk}"] = str(number)
    return {"done_at": "2026-03-02T11:00", "found": "normal", **rows, **facts}


def test_many_are_recorded_with_a_value_per_machine(cast, technician, two):
    step = Step.objects.get()
    assert (
        "Record 2 tasks done at once" in technician.get(many_url(two)).content.decode()
    )
    worn = {f"found__{two[1].pk}": "worn"}
    answer = technician.post(many_url(two), many(two, step, **worn))
    assert answer.status_code == 302
    rows = Task.objects.done().order_by("machine__serial")
    assert list(rows.values_list("minutes", "found", "results__value")) == [
        (5, "normal", Decimal(0)),
        (6, "worn", Decimal(1)),
    ]


def test_one_bad_row_saves_none_and_loses_nothing(cast, technician, two):
    """The second was recorded by somebody else in the meantime."""
    complete_task(**report(cast, open_task(two[1].routine, two[1].machine)))
    step = Step.objects.get()
    answer = technician.post(many_url(two), many(two, step, note="keep this"))
    text = answer.content.decode()
    assert answer.status_code == REFUSED
    assert "1 of the 2 rows is refused, so none was saved." in text
    assert "is recorded done already" in text
    assert "keep this" in text
    assert Task.objects.done().count() == 1


def test_many_are_refused_to_who_may_not(cast, reader, two):
    assert reader.get(many_url(two)).status_code == FORBIDDEN
    assert reader.post(many_url(two), {}).status_code == FORBIDDEN


@pytest.mark.parametrize("query", ["", "?task=x", "?task=1&task=" + "9" * 30])
def test_a_choice_that_names_no_task_is_refused(cast, technician, query):
    answer = technician.get(reverse("complete_many") + query)
    assert answer.status_code == 400


def test_the_page_of_many_takes_few_queries(
    cast, technician, wipe, django_assert_max_num_queries
):
    for number in range(30):
        make_machine(f"W-1{number:03}", cell=cast.cells[1], position=f"P{number}")
    keep_in_step()
    url = many_url(Task.objects.open())
    with django_assert_max_num_queries(20):
        assert technician.get(url).status_code == 200


# Failed safety tests


@pytest.fixture
def alert(cast):
    test = make_routine("gate", safety=True, name="Gate test")
    keep_in_step()
    task = open_task(test, cast.robot)
    return complete_task(**report(cast, task, found="failed")).alert


def test_a_failed_test_waits_on_the_due_list_until_a_named_person_accepts(
    cast, client_of, reader, alert
):
    assert "1 failed safety test waits for a named person" in page(reader, "due")
    assert "waits for safety" in page(reader, "alerts")
    officer = client_of(cast.people.safety_officer)
    assert "Accept by name" in page(officer, "alerts")
    url = reverse("alert_accept", args=[alert.pk])
    officer.post(url, {"measure": "gate switch changed"})
    alert.refresh_from_db()
    assert alert.accepted_by == cast.people.safety_officer
    assert "gate switch changed" in page(reader, "task", alert.task_id)
    assert "No failed safety test waits" in page(reader, "alerts")


def test_a_technician_cannot_accept_it(technician, alert):
    url = reverse("alert_accept", args=[alert.pk])
    assert technician.get(url).status_code == FORBIDDEN
    assert technician.post(url, {"measure": "ok"}).status_code == FORBIDDEN
    assert SafetyAlert.objects.get().accepted_at is None


def test_the_alerts_come_as_csv(reader, alert):
    rows = reader.get(reverse("alerts"), {"csv": "1"}).content.decode().splitlines()
    assert rows[1].split(",")[1:5] == ["gate", "W-0001", "L1-10", "R01"]


# Routines


ROUTINE = {
    "code": "aim",
    "name": "Aim",
    "kinds": ["weld"],
    "every_days": "28",
    "anchor": "completion",
    "follows": "machine",
    "minutes": "5",
    "heads": "1",
    "skills": "C;M",
}


def test_a_planner_adds_and_changes_a_routine(cast, planner):
    planner.post(reverse("routine_add"), ROUTINE)
    routine = Routine.objects.get()
    assert routine.skills == ["C", "M"]
    changed = {**ROUTINE, "every_days": "14", "why": "wears faster"}
    planner.post(reverse("routine_edit", args=["aim"]), changed)
    text = page(planner, "routine", "aim")
    assert "every 14 days, on 1 machine" in text
    assert "wears faster" in text


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        pytest.param({"every_days": ""}, "units of a meter, or both", id="never"),
        pytest.param({"every_days": "0"}, "Every so many days “0”", id="zero"),
        pytest.param({"every_units": "-5"}, "-5 units are no interval", id="negative"),
        pytest.param({"every_units": "5"}, "give the meter’s name", id="no-meter"),
        pytest.param(
            {"lockout": "on", "running_allowed": "on"}, "choose one", id="both"
        ),
        pytest.param({"kinds": []}, "For is empty", id="for-nothing"),
        pytest.param({"skills": ";"}, "Skills is empty", id="no-skill"),
    ],
)
def test_a_routine_that_cannot_be_is_refused_in_a_sentence(cast, planner, facts, words):
    answer = planner.post(reverse("routine_add"), {**ROUTINE, **facts})
    assert answer.status_code == REFUSED
    assert words in answer.content.decode()
    assert not Routine.objects.exists()


def test_a_safety_routine_is_the_safety_officers(cast, planner, client_of):
    make_routine("gate", safety=True)
    officer = client_of(cast.people.safety_officer)
    for name in ("routine_edit", "routine_steps", "routine_retire", "routine_spread"):
        url = reverse(name, args=["gate"])
        assert planner.get(url).status_code == FORBIDDEN
        assert officer.get(url).status_code == 200
    planner.post(reverse("routine_add"), {**ROUTINE, "safety": "on"})
    assert not Routine.objects.filter(code="aim").exists()
    officer.post(reverse("routine_add"), {**ROUTINE, "safety": "on"})
    assert Routine.objects.get(code="aim").safety


def test_others_read_routines_and_change_none(cast, reader, wipe):
    text = page(reader, "routine", "wipe")
    assert "Change it" not in text
    assert "Add a routine" not in page(reader, "routines")
    for name, args in (
        ("routine_add", []),
        ("routine_edit", ["wipe"]),
        ("routine_steps", ["wipe"]),
        ("routine_spread", ["wipe"]),
        ("routine_retire", ["wipe"]),
        ("routine_first_due", ["wipe", "W-0001"]),
    ):
        assert reader.get(reverse(name, args=args)).status_code == FORBIDDEN


def test_steps_are_written_as_a_table(cast, planner, wipe):
    make_step(wipe, text="Look")
    lines = {
        "text__1": "Look well",
        "order__1": "2",
        "text__2": "Measure",
        "order__2": "1",
        "unit__2": "mm",
        "act_high__2": "1.5",
        "repeat__2": "6",
        "why": "new sheet",
    }
    planner.post(reverse("routine_steps", args=["wipe"]), lines)
    rows = Step.objects.order_by("order").values_list("order", "text", "repeat")
    assert list(rows) == [(1, "Measure", 6), (2, "Look well", 1)]
    assert "Measure, mm, 6 values" in page(planner, "routine", "wipe")


def test_first_due_dates_are_spread_and_set_on_pages(cast, planner, wipe):
    spread = {
        "first": "2026-03-09",
        "last": "2026-03-13",
        "machines": [str(cast.robot.pk)],
        "why": "new routine",
    }
    planner.post(reverse("routine_spread", args=["wipe"]), spread)
    assert "new routine" in page(planner, "routine", "wipe")
    url = reverse("routine_first_due", args=["wipe", "W-0001"])
    planner.post(url, {"due": "2026-03-20", "why": "shutdown"})
    assert FirstDue.objects.get().due == date(2026, 3, 20)
    past = planner.post(url, {"due": "2026-03-01", "why": "x"})
    assert "lies in the past" in past.content.decode()


def test_a_retired_routine_leaves_the_list_of_those_in_use(cast, planner, wipe):
    planner.post(reverse("routine_retire", args=["wipe"]), {"why": "no use"})
    assert "0 routines say" in page(planner, "routines")
    assert "retired Mon 2 March" in page(planner, "routine", "wipe")


def test_the_routines_come_as_csv(reader, wipe):
    rows = reader.get(reverse("routines"), {"csv": "1"}).content.decode().splitlines()
    assert rows[1].startswith("wipe,Wipe it,weld,28,")
    assert rows[1].endswith(",1,1")  # open, late


def test_routine_pages_take_few_queries(
    cast, planner, wipe, django_assert_max_num_queries
):
    for number in range(20):
        make_machine(f"W-1{number:03}", cell=cast.cells[1], position=f"P{number}")
        make_routine(f"r{number}")
    keep_in_step()
    with django_assert_max_num_queries(20):
        page(planner, "routines")
    with django_assert_max_num_queries(20):
        page(planner, "routine", "wipe")


# Compliance


def test_compliance_says_its_figures_and_the_rows_behind(cast, reader):
    wipe = make_routine(name="Wipe it")
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 10)))  # due 2 February
    keep_in_step()
    text = page(reader, "compliance", first="2026-02-01", last="2026-02-28")
    assert "0 of 1 windows that closed were done on time: 0.0 %" in text
    assert 'data-label="Closed">Thu 5 February' in text
    assert "done late" in text
    assert "2026-02</th>" in text


def test_compliance_lists_what_was_not_on_time_unless_asked_for_more(cast, reader):
    wipe = make_routine(name="Wipe it")
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    keep_in_step()
    period = {"first": "2026-02-01", "last": "2026-02-28"}
    assert "Wipe it" not in page(reader, "compliance", **period)
    assert "Wipe it" in page(reader, "compliance", outcome="all", **period)
    csv = reader.get(reverse("compliance"), {**period, "outcome": "all", "csv": "1"})
    assert csv.content.decode().splitlines()[1].startswith("2026-02-05,on_time,wipe")


@pytest.mark.parametrize(
    "period",
    [{"first": "2026-03-01", "last": "2026-02-01"}, {"first": "soon"}],
)
def test_a_period_that_cannot_be_shows_no_figure(cast, reader, period):
    assert "The figures" not in page(reader, "compliance", **period)


def test_compliance_takes_few_queries(
    cast, reader, wipe, django_assert_max_num_queries
):
    with django_assert_max_num_queries(20):
        page(reader, "compliance")


# The pages of cells and machines, and registry health


def test_open_tasks_stand_on_the_cells_and_the_machines_page(cast, reader, wipe):
    for url in (cast.cells[0].get_absolute_url(), cast.robot.get_absolute_url()):
        text = reader.get(url).content.decode()
        assert "What falls due next" in text
        assert "Wipe it" in text


def findings(title: str) -> list[tuple[str, str]]:
    found = dict(run_checks())[title]
    return [(one.subject, one.sentence) for one in found]


def test_health_names_robots_without_a_routine(cast):
    assert [name for name, _ in findings("Robots without a routine")] == [
        "W-0001",
        "H-0001",
    ]
    make_routine(kinds=["weld", "handling"])
    assert findings("Robots without a routine") == []


def test_health_names_machines_whose_meter_was_not_read(cast):
    make_routine(every_units=Decimal(100), meter="motion hours")
    keep_in_step()
    ((serial, sentence),) = findings("Tasks whose meter gives no forecast")
    assert serial == "W-0001"
    assert sentence.startswith("Meter not read: “motion hours”")
    for days in (28, 0):
        when = at("06:00", MONDAY - timedelta(days=days))
        make_reading(cast.meter, str(100 - days), read_at=when)
    keep_in_step()
    assert findings("Tasks whose meter gives no forecast") == []
