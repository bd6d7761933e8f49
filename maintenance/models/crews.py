"""Who is there for PM: so many heads of a skill, at these hours."""

from datetime import date

from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce

from cells.models import Area


class Crew(models.Model):
    crew = models.CharField(max_length=40)
    skill = models.CharField(max_length=10)
    area = models.ForeignKey(
        Area, on_delete=models.PROTECT, null=True, blank=True, related_name="crews"
    )
    weekdays = models.CharField(max_length=40, help_text="Like mon-fri or sat,sun.")
    start = models.TimeField()
    end = models.TimeField(help_text="Not after the start: ends the next day.")
    heads = models.PositiveSmallIntegerField()
    valid_from = models.DateField(null=True, blank=True)
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["crew", "skill", "start"]
        constraints = [
            models.UniqueConstraint(
                "crew",
                "skill",
                Coalesce("area", 0),
                "weekdays",
                "start",
                Coalesce("valid_from", date(1, 1, 1)),
                name="one_crew_row_of_a_kind",
                violation_error_message="This crew row exists already.",
            ),
            models.CheckConstraint(
                condition=Q(heads__gte=1),
                name="a_crew_has_heads",
                violation_error_message="A crew has 1 head or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.crew} {self.skill} × {self.heads}"
