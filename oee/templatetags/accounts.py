"""How the pages of the account write what only they have.

{% rule "oee" "OEE" %}    a link to the rule of that figure
{{ difference|points }}   "6.3 points under"
{{ seconds|in_minutes }}  "1,624 min", to be compared down a column
{{ name|mid_sentence }}   "gun force", of a reason that is entered as "Gun force"
{{ sentence|unbroken }}   no code in it (FR2-070) breaks at its hyphen
"""

import math
import re

from django import template
from django.urls import reverse
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe

from cells.drawing import Seconds
from cells.templatetags.figures import MINUS, UNKNOWN

register = template.Library()

_CODE = re.compile(r"\w+(?:-\w*\d\w*)+")


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
def in_minutes(length_s: Seconds | None) -> str:
    """Never hours: figures that are compared with each other have one unit."""
    if length_s is None:
        return UNKNOWN
    whole = math.floor((length_s + 30) / 60)
    return f"{MINUS if whole < 0 else ''}{abs(whole):,} min"


@register.filter
def mid_sentence(name: str) -> str:
    """Without the capital that only its place in a list gave it."""
    if len(name) > 1 and name[1].islower():
        return name[0].lower() + name[1:]
    return name


@register.filter
def unbroken(sentence: str) -> SafeString:
    codes = r'<span class="code">\g<0></span>'
    return mark_safe(_CODE.sub(codes, escape(sentence)))
