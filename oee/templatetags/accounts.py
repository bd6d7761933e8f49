"""How the pages of the account write what only they have.

{% rule "oee" "OEE" %}    a link to the rule of that figure
{{ difference|points }}   "6.3 points under"
"""

from decimal import Decimal

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag
def rule(anchor: str, words: str) -> SafeString:
    """``anchor``: of a rule on the definitions page; a test looks for each."""
    return format_html('<a href="{}#{}">{}</a>', reverse("definitions"), anchor, words)


@register.filter
def points(difference: float | None) -> str:
    """Percentage points, one decimal, in words that need no sign."""
    if difference is None:
        return ""
    shown = f"{abs(difference):.1f}"
    if shown == "0.0":
        return "the same as"
    return f"{shown} points {'over' if difference > 0 else 'under'}"


@register.filter
def as_float(share: Decimal | None) -> float | None:
    """A target as the drawings take it."""
    return None if share is None else float(share)
