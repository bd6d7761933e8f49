"""Which period of PM compliance, and which of its windows are listed."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django import forms

from cells import clock
from maintenance.compliance import WORDS, ClosedTask
from maintenance.forms.lists import PeriodFilter

OTHER = "not on time"


class ComplianceFilter(PeriodFilter):
    """Up to yesterday; today's windows have not closed yet."""

    days_back = 28
    only = forms.ChoiceField(
        label="Tests", choices=[("", "all tasks"), ("safety", "safety tests only")]
    )
    outcome = forms.ChoiceField(
        label="Listed", choices=[("", OTHER), ("all", "all"), *WORDS.items()]
    )

    def __init__(self, data: Any) -> None:
        yesterday = clock.today() - timedelta(days=1)
        given = {name: data[name] for name in data if data[name]}
        super().__init__({"last": yesterday, **given})

    def chosen(self, closed: Iterable[ClosedTask]) -> list[ClosedTask]:
        """In the order in which the windows closed, the latest first."""
        outcome, only = self.cleaned_data["outcome"], self.cleaned_data["only"]
        found = [
            one
            for one in closed
            if (outcome in ("all", one.window.outcome))
            or (not outcome and one.window.outcome != "on_time")
        ]
        if only:
            found = [one for one in found if one.window.safety]
        return sorted(found, key=lambda one: (one.window.closes, one.task_id))[::-1]
