"""Which period of PM compliance, and which of its windows are listed."""

from datetime import timedelta
from typing import Any

from django import forms

from cells import clock
from maintenance.compliance import WORDS, ClosedTasks
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

    def chosen(self) -> ClosedTasks:
        wanted = self.cleaned_data
        return ClosedTasks(
            wanted["first"],
            wanted["last"],
            listed=wanted["outcome"],
            tests=bool(wanted["only"]),
        )
