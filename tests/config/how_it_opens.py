"""How each page opens, where it is not simply for everybody who is signed in."""

from collections.abc import Iterable, Iterator

from django.urls import reverse

from tests.config.whole_site import Site, pages

#: Answer a POST only.
BUTTONS = {
    "logout",
    "stop_start",
    "stop_withdraw",
    "stop_reinstate",
    "stop_tap",
    "planned_stop_withdraw",
    "reason_retire",
    "reason_offer",
}

#: Pages that ask for one thing and do it: who may not do it has no use for them. And
#: the running state, which is for those who can act on it.
FORMS = frozenset(
    {
        "area_add",
        "area_edit",
        "target_set",
        "line_add",
        "line_edit",
        "counting_cell",
        "cell_add",
        "cell_edit",
        "cell_lockout",
        "cell_retire",
        "bank_set",
        "machine_add",
        "machine_edit",
        "machine_place",
        "machine_remove",
        "machine_swap",
        "meter_add",
        "meter_edit",
        "pattern_add",
        "pattern_change",
        "pattern_end",
        "pattern_remove",
        "day_off_add",
        "day_off_remove",
        "one_off_set",
        "one_off_remove",
        "complete_many",
        "task_correct",
        "task_withdraw",
        "alert_accept",
        "routine_add",
        "routine_edit",
        "routine_retire",
        "routine_steps",
        "routine_spread",
        "routine_first_due",
        "running",
    }
)
#: Lead on to another page.
WAYS = {"home", "cell_short", "machine_short", "admin_sign_in"}
#: Leads only these on: to the shift that runs on their line.
LED_ON = {"my_shift": {"leader", "stranger", "other_manager"}}
#: Of the forms, who may look at what only others may send.
LOOKED_AT = {"running": {"planner", "plant_manager", "area_manager", "other_manager"}}
#: Nobody has to be signed in for these. Static files are served before Django.
OPEN = {"login", "admin_sign_in", "admin:login"}

#: Pages that look otherwise with a question after their address.
ASKED = {
    "shift": [
        "cell=L1-10",
        "cell=L1-10&log=stop",
        "cell=L1-20&log=tally",
        "cell=L1-20&log=count",
        "cell=L1-10&log=breaks",
    ],
    "my_shift": ["choose=1"],
    "stopped": ["cell=L1-10"],
    "due": ["only=safety", "group=cell"],
    "plant": ["period=today", "period=week"],
    "line": ["basis=cells"],
    "ranking": ["by=all&per=100h", "from=someday"],
}
#: Asked without one, it answers that there is nothing to record.
ONLY_ASKED = {"complete_many"}


def addresses(site: Site, names: Iterable[str]) -> Iterator[str]:
    examples = pages(site)
    for name in names:
        address = reverse(name, args=examples[name])
        if name not in ONLY_ASKED:
            yield address
        for question in ASKED.get(name, []):
            yield f"{address}?{question}"
