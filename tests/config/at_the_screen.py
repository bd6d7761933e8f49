"""The devices of the plant's people, and what their tests read and touch on them."""

import re
from typing import Any

from maintenance.models import Stop

DESK = {"viewport": {"width": 1280, "height": 900}}
TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}
PHONE = {"viewport": {"width": 380, "height": 800}, "has_touch": True}


def headline(page: Any) -> str:
    return str(page.get_by_role("heading", level=1).inner_text())


def number_in(words: str) -> int:
    found = re.search(r"[\d,]+", words)
    assert found, words
    return int(found[0].replace(",", ""))


def tap(page: Any, role: str, name: str) -> None:
    page.get_by_role(role, name=name).first.tap()


def running() -> Stop:
    """The breakdown that stands on the leader's line when the demo opens."""
    fault = {"cell__code": "FR1-040", "reason__name": "Gun force fault"}
    return Stop.objects.get(**fault, ended_at=None)
