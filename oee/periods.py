"""Which production dates a page is about: chosen in its address, said in words."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from cells.models import Shift
from cells.plant_forms import DateField, PlantForm
from cells.templatetags.figures import day, moment
from oee.reports import date_range

YESTERDAY, TODAY, WEEK, USUAL = "yesterday", "today", "week", "28"
PRESETS = {
    YESTERDAY: "Yesterday",
    TODAY: "Today so far",
    WEEK: "This week",
    USUAL: "Last 28 production days",
}
#: What is entered late is in by then (common practice).
FINAL_AT = time(10)
LONGEST = 400  # days; beyond a year a list is no answer


@dataclass(frozen=True, kw_only=True)
class Period:
    """Production dates from first to last, both included."""

    first: date
    last: date
    today: date
    preset: str = ""  # a key of PRESETS, where it was asked for

    @property
    def query(self) -> str:
        """For the links of a page, so that they stay on what the page showed."""
        return f"from={self.first}&to={self.last}"

    @property
    def reaches_today(self) -> bool:
        return self.first <= self.today <= self.last

    @property
    def words(self) -> str:
        """ "yesterday, Mon 30 March", to stand at the end of a sentence."""
        named = {YESTERDAY: "yesterday", TODAY: "today so far", WEEK: "this week"}
        return named.get(self.preset, self.dates)

    @property
    def dates(self) -> str:
        if self.first == self.last:
            return f"on {day(self.first)}"
        return f"from {day(self.first)} to {day(self.last)}"


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What an address asked for, as far as it could be meant."""

    period: Period
    form: "PeriodForm"
    faults: list[str]


class PeriodForm(PlantForm):
    """Two dates of one's own, both of them in."""

    def __init__(self, data: Any) -> None:
        super().__init__(data)
        # "from" is a word that Python keeps for itself.
        self.fields["from"] = DateField(label="From")
        self.fields["to"] = DateField(label="To")

    def clean(self) -> None:
        first, last = self.cleaned_data.get("from"), self.cleaned_data.get("to")
        if not (first and last):
            return
        if last < first:
            self.add_error("to", f"{last} lies before {first}: swap the two dates.")
        elif (last - first).days >= LONGEST:
            self.add_error(
                "from",
                f"{first} to {last} is longer than {LONGEST} days: choose less, or "
                "take it month by month.",
            )


def production_today(now: datetime, zone: ZoneInfo) -> date:
    """The date of the shift that runs, else of the calendar.

    So after midnight a night shift's date is still today's.
    """
    running = Shift.objects.filter(starts_at__lte=now, ends_at__gt=now)
    latest = running.order_by("-production_date").values_list("production_date").first()
    return latest[0] if latest else now.astimezone(zone).date()


def chosen(asked: Mapping[str, str], *, today: date, usual: str = USUAL) -> Choice:
    """The period of an address: ?from=&to=, or ?period= with a key of PRESETS.

    ``usual``: the preset where nothing is asked, or nothing that can be meant.
    """
    if asked.get("from") or asked.get("to"):
        form = PeriodForm({name: asked.get(name, "") for name in ("from", "to")})
        if form.is_valid():
            dates = form.cleaned_data
            own = Period(first=dates["from"], last=dates["to"], today=today)
            return Choice(period=own, form=form, faults=[])
        faults = [str(words) for errors in form.errors.values() for words in errors]
        return Choice(period=of_preset(usual, today), form=form, faults=faults)
    preset = asked.get("period") or usual
    faults = []
    if preset not in PRESETS:
        names = ", ".join(PRESETS)
        faults = [f"Period “{preset}” is not known: choose one of {names}."]
        preset = usual
    period = of_preset(preset, today)
    shown = PeriodForm({"from": period.first, "to": period.last})
    return Choice(period=period, form=shown, faults=faults)


def of_preset(preset: str, today: date) -> Period:
    yesterday = today - timedelta(days=1)
    first, last = {
        TODAY: lambda: (today, today),
        YESTERDAY: lambda: (yesterday, yesterday),
        WEEK: lambda: (today - timedelta(days=today.weekday()), today),
        USUAL: lambda: date_range(last=yesterday),
    }[preset]()
    return Period(first=first, last=last, today=today, preset=preset)


def last_production_date(before: date) -> date | None:
    shifts = Shift.objects.worked().filter(production_date__lt=before)
    latest = shifts.order_by("-production_date").values_list("production_date").first()
    return latest[0] if latest else None


def finality(period: Period, *, now: datetime, zone: ZoneInfo) -> str:
    """Whether figures may still change by what is entered late."""
    if period.last >= period.today:
        return "provisional: today still runs"
    later = Shift.objects.worked().filter(production_date__gt=period.last)
    following = later.order_by("production_date").values_list("production_date").first()
    if following is None:
        return f"provisional until {FINAL_AT:%H:%M} of the next working day"
    final_at = datetime.combine(following[0], FINAL_AT, tzinfo=zone).astimezone(UTC)
    words = "final since" if final_at <= now else "provisional until"
    return f"{words} {moment(final_at)}"
