"""Which lines or areas a person writes for."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Coalesce

from cells.models.floor import Area, Line


class Duty(models.Model):
    """A line that somebody leads, or an area that somebody works in."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="duties"
    )
    area = models.ForeignKey(Area, on_delete=models.CASCADE, null=True, blank=True)
    line = models.ForeignKey(Line, on_delete=models.CASCADE, null=True, blank=True)

    class Meta:
        ordering = ["user", "area", "line"]
        verbose_name_plural = "duties"
        constraints = [
            models.UniqueConstraint(
                "user",
                Coalesce("area", 0),
                Coalesce("line", 0),
                name="one_duty_of_a_person_and_place",
                violation_error_message="This person already has that duty.",
            ),
            models.CheckConstraint(
                condition=models.Q(area=None) ^ models.Q(line=None),
                name="a_duty_is_an_area_or_a_line",
                violation_error_message="Give an area or a line, not both.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.line or self.area}"
