"""Bodies counted: the numbers, the place, and outside shifts the time as well."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.db.models import BigIntegerField, F, Q, QuerySet
from django.db.models.functions import Coalesce

from cells.models import Cell, Line
from cells.moment_forms import PlantMomentFormField
from cells.plant_forms import CorrectsRecord, PlantForm, WhyField
from maintenance.forms.lists import WITHDRAWN, PeriodFilter
from oee.models import Count, Variant


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a count can be taken: a line, a leg of it, or a cell."""

    at: Cell | Line
    leg: str = ""

    @property
    def code(self) -> str:
        """As in the file of counts."""
        return f"{self.at.code}/{self.leg}" if self.leg else self.at.code

    @property
    def words(self) -> str:
        if isinstance(self.at, Cell):
            return f"cell {self.code} only"
        return f"leg {self.code}" if self.leg else f"line {self.code}"


def places_of(line: Line, cells: Iterable[Cell]) -> list[Place]:
    """The line, once for all its cells, and its legs."""
    legs = sorted({cell.leg for cell in cells if cell.leg})
    return [Place(at=line), *(Place(at=line, leg=leg) for leg in legs)]


class CountNumbers(PlantForm):
    """Which numbers are possible is for the verb to say, in one place."""

    total = forms.IntegerField(label="Made")
    good = forms.IntegerField(label="First-time good")
    rework = forms.IntegerField(required=False)
    scrap = forms.IntegerField(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in CountNumbers.base_fields:
            self.fields[name].widget.attrs["inputmode"] = "numeric"


class CorrectCountForm(CountNumbers, CorrectsRecord):
    why = WhyField(help_text="Stays in the trail of the count.")

    def __init__(self, *args: Any, count: Count | None, **kwargs: Any) -> None:
        names = CountNumbers.base_fields
        initial = {name: getattr(count, name) for name in names} if count else None
        super().__init__(*args, initial=initial, record=count, **kwargs)


class CountForm(CountNumbers):
    """Bodies of one variant. ``facts()`` are for ``enter_count``."""

    at = forms.ChoiceField(label="Counted at")
    variant = forms.ChoiceField()
    why = WhyField(label="Why do you enter it for the leader?", required=False)

    field_order: tuple[str, ...] = ("at", "variant", *CountNumbers.base_fields, "why")

    def __init__(
        self,
        *args: Any,
        places: Iterable[Place],
        variants: Iterable[Variant],
        asks_why: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.places = {place.code: place for place in places}
        self.variants = {str(variant.pk): variant for variant in variants}
        self._offer("at", [(code, place.words) for code, place in self.places.items()])
        self._offer(
            "variant",
            [(pk, f"{one.code} {one.name}") for pk, one in self.variants.items()],
        )
        if not asks_why:
            del self.fields["why"]

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        """One choice is taken as given; among several nobody chooses by mistake."""
        field = cast(forms.ChoiceField, self.fields[name])
        field.choices = choices if len(choices) == 1 else [("", "choose"), *choices]

    def facts(self) -> dict[str, Any]:
        facts = super().facts()
        place = self.places[facts.pop("at")]
        variant = self.variants[facts.pop("variant")]
        return {"at": place.at, "leg": place.leg, "variant": variant, **facts}


class CountBetweenForm(CountForm):
    """The same between two moments where no shift was planned."""

    starts_at = PlantMomentFormField(label="From")
    ends_at = PlantMomentFormField(label="Until")
    why = WhyField(
        required=False,
        help_text="The line’s leader may leave it empty for 24 h. Kept in the trail.",
    )

    field_order = ("at", "variant", "starts_at", "ends_at", *CountNumbers.base_fields)


class CountFilter(PeriodFilter):
    days_back, days_ahead = 27, 0

    state = forms.ChoiceField(
        label="Which",
        choices=[("", "standing"), ("outside", "outside shifts only"), WITHDRAWN],
    )

    def counts(self, line: Line) -> QuerySet[Count]:
        """What begins in the period, the newest first; none if it cannot be read."""
        if not self.is_valid():
            return Count.objects.none()
        first, after = self.moments()
        counts = of_line(line).filter(
            Q(shift__starts_at__gte=first, shift__starts_at__lt=after)
            | Q(starts_at__gte=first, starts_at__lt=after),
            withdrawn=self.cleaned_data["state"] == "withdrawn",
        )
        if self.cleaned_data["state"] == "outside":
            counts = counts.filter(shift=None)
        begins = Coalesce(
            "shift__starts_at", "starts_at", output_field=BigIntegerField()
        )
        return counts.annotate(begins=begins).order_by(
            F("begins").desc(), "cell__order", "leg", "variant__code"
        )


def of_line(line: Line) -> QuerySet[Count]:
    """Counts of the line, its legs and its cells, with what a row of them shows."""
    counts = Count.objects.filter(Q(line=line) | Q(cell__line=line))
    return counts.select_related(
        "cell__line", "line", "shift__line", "variant", "entered_by"
    )
