"""What the drawings' tags put on a page and say. Shares: own arithmetic."""

from xml.etree import ElementTree

import pytest
from django.template import Context, Template
from django.utils import timezone

from cells import drawing
from cells.drawing import Part, StripStop
from tests.cells.early_shift import BERLIN, EARLY, Stretch, at


def svg(tag, **context):
    with timezone.override(BERLIN):
        text = Template("{% load drawings %}" + tag).render(Context(context))
    return ElementTree.fromstring(text.strip())


def titles(root):
    return [title.text for title in root.iter("title")]


def words_of(root):
    return " ".join(" ".join(root.itertext()).split())


# The account bar


def test_minutes_that_no_part_explains_stay_empty_and_are_said():
    tag = "{% account_bar parts total=26400 label='FR2-070' %}"
    root = svg(tag, parts=[Part(kind="breakdown", seconds=6600)])

    missing = root.find("rect[@class='missing']")
    assert (missing.get("x"), missing.get("width")) == ("25.000%", "75.000%")
    assert root.get("aria-label") == (
        "FR2-070, 440 min: breakdown 110 min, not known 330 min"
    )


def test_more_made_than_the_time_allows_is_said_and_the_planned_end_is_marked():
    parts = [Part(kind="good", seconds=30000), Part(kind="slow", seconds=-6000)]
    root = svg("{% account_bar parts total=24000 %}", parts=parts)

    assert [rect.get("class") for rect in root.iter("rect")] == ["k-good"]
    assert root.find("line").get("x1") == "80.000%"
    assert "slow or unexplained −100 min (more made than the time allows" in root.get(
        "aria-label"
    )


def test_a_cell_without_planned_time_has_an_empty_bar():
    root = svg("{% account_bar parts total=0 label='FR2-070' %}", parts=[])
    assert list(root) == []
    assert root.get("aria-label") == "FR2-070, nothing to show"


def test_every_part_names_its_class_and_minutes():
    parts = [Part(kind="quality_hold", seconds=540), Part(kind="good", seconds=600)]
    root = svg("{% account_bar parts %}", parts=parts)
    assert titles(root) == ["good making, 10 min", "quality hold, 9 min"]


def test_what_is_done_to_the_cell_is_hatched_and_its_own_faults_are_not():
    parts = [Part(kind=kind, seconds=60) for kind in drawing.KIND_WORDS]
    root = svg("{% account_bar parts %}", parts=parts)
    hatched = {
        rect.get("class"): rect.get("fill")
        for rect in root.iter("rect")
        if rect.get("fill")
    }
    assert hatched == {
        f"k-{kind}": f"url(#hatch-{kind})"
        for kind in ("people", "supply", "utilities", "blocked", "starved", "planned")
    }


def test_every_pattern_that_a_bar_names_is_defined_once_a_page():
    root = svg("{% hatches %}")
    ids = [pattern.get("id") for pattern in root.iter("pattern")]
    assert ids == [f"hatch-{kind}" for kind in drawing.HATCHED_KINDS]


@pytest.mark.parametrize(
    "tag",
    [
        "{% hatches %}",
        "{% account_bar parts total=9000 %}",
        "{% shift_strip shift breaks stops now %}",
        "{% sparkline values target=0.77 %}",
        "{% legend %}",
    ],
)
def test_no_drawing_carries_an_inline_style_or_script(tag):
    root = svg(
        tag,
        parts=[Part(kind="good", seconds=60)],
        shift=EARLY,
        breaks=[Stretch(at("09:00"), at("09:10"))],
        stops=[StripStop(kind="minor", starts_at=at("10:00"))],
        now=at("10:05"),
        values=[0.7, None, 0.8],
    )
    for element in root.iter():
        assert element.tag not in ("style", "script")
        assert not {"style", "onclick", "onload"} & set(element.attrib)


def test_user_text_in_a_label_stays_text():
    root = svg(
        "{% account_bar parts label=name %}",
        parts=[Part(kind="good", seconds=60)],
        name='"><script>',
    )
    assert root.get("aria-label").startswith('"><script>, 1 min')


# The shift strip


def test_a_running_stop_reaches_to_now_and_says_so():
    root = svg(
        "{% shift_strip shift breaks stops now %}",
        shift=EARLY,
        breaks=[],
        stops=[StripStop(kind="breakdown", starts_at=at("12:40"), words="cable pack")],
        now=at("13:12"),
    )
    rect = root.find("rect[@class='k-breakdown']")
    assert rect.get("width") == "6.667%"  # 32 of 480 minutes
    assert "cable pack (breakdown) 12:40 to 13:12, still running" in titles(root)


def test_breaks_are_gaps_painted_over_the_stops():
    root = svg(
        "{% shift_strip shift breaks stops now %}",
        shift=EARLY,
        breaks=[Stretch(at("08:40"), at("08:50"))],
        stops=[StripStop(kind="starved", starts_at=at("08:30"), ends_at=at("09:30"))],
        now=at("15:00"),
    )
    painted = [element.get("class") for element in root]
    assert painted.index("break") > painted.index("k-starved")
    assert root.get("aria-label") == (
        "06:00 to 14:00, 1 break, stops: starved 08:30 to 09:30"
    )


# The sparkline


def test_a_sparkline_says_its_range_in_words():
    root = svg(
        "{% sparkline values target=0.77 label='Framing, four weeks' %}",
        values=[0.70, None, 0.79, 0.768],
    )
    assert root.get("aria-label") == (
        "Framing, four weeks: 3 of 4 values known, 70.0 % to 79.0 %, last 76.8 %, "
        "target 77.0 %"
    )


def test_a_sparkline_of_nothing_is_empty_and_says_so():
    root = svg("{% sparkline values %}", values=[None, None])
    assert root.get("aria-label") == "Trend: nothing known yet"
    assert root.find("polyline") is None


# The legend


def test_the_legend_groups_the_classes_by_whose_they_are():
    root = svg("{% legend %}")
    words = words_of(root)
    assert words == (
        "good making own faults: breakdown set-up quality hold minor stops rejects "
        "slow or unexplained done to the cell: people supply utilities blocked starved"
    )


def test_a_legend_of_some_classes_leaves_the_others_out():
    root = svg("{% legend 'starved' 'planned' %}")
    words = words_of(root)
    assert words == "planned stop done to the cell: starved"


def test_a_legend_of_an_unknown_class_is_refused():
    with pytest.raises(ValueError, match="legend knows no kind lunch"):
        svg("{% legend 'lunch' %}")
