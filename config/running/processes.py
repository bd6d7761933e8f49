"""Workers and the clock of the periodic jobs, by the heartbeats they wrote."""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from django.db.models import F
from django.db.models.functions import Now

from config.models import Heartbeat
from config.running.parts import DAY, Part, how_long, wrong_clock
from config.version import CODE

#: They write every 15 s (heartbeats.PULSE_S); a job that takes the database's whole
#: attention may delay one.
SILENT_S = 60
#: Not heard for so long, it was taken away rather than broken.
FORGOTTEN_S = DAY

KINDS = Heartbeat.Kind
NOBODY = {
    KINDS.WORKER: (
        "No worker runs: figures stay as they are until one is started. What people "
        "enter is kept."
    ),
    KINDS.BEAT: (
        "The clock of the periodic jobs (beat) does not run: ended shifts are not "
        "closed, and nothing new falls due."
    ),
}


def alive() -> set[str]:
    """The kinds of which at least one was heard just now. One query."""
    recent = Heartbeat.objects.filter(heard_at__gt=Now() - timedelta(seconds=SILENT_S))
    return set(recent.order_by().values_list("kind", flat=True).distinct())


def processes() -> list[Part]:
    heard = [
        (one, one.age.total_seconds())
        for one in Heartbeat.objects.annotate(age=Now() - F("heard_at"))
        if one.age.total_seconds() < FORGOTTEN_S
    ]
    return [part for kind in KINDS for part in _of_kind(kind, heard)]


def _of_kind(kind: KINDS, heard: Sequence[tuple[Heartbeat, float]]) -> Iterator[Part]:
    ours = [(one, age) for one, age in heard if one.kind == kind]
    running = [one for one, age in ours if age < SILENT_S]
    if not running:
        name = kind.label.capitalize()
        yield Part(name=name, words="none is heard", troubles=(NOBODY[kind],))
    for one, age in ours:
        yield _one(one, age)
    if kind == KINDS.BEAT and len(running) > 1:
        names = " and ".join(one.name for one in running)
        yield Part(
            name="Periodic jobs",
            words="are sent more than once",
            troubles=(f"Of {names} only one may run: stop the others.",),
        )


def _one(one: Heartbeat, age: float) -> Part:
    troubles = []
    if age >= SILENT_S:
        troubles.append(
            f"{one.name} was last heard {how_long(age)} ago: it was killed, it hangs, "
            "or its machine is away."
        )
    if one.version != CODE:
        troubles.append(
            f"{one.name} runs other program code ({one.version}) than this page "
            f"({CODE}): start it again."
        )
    return Part(
        name=f"{one.get_kind_display().capitalize()} {one.name}",
        words=f"on {one.host}, heard {how_long(age)} ago, code {one.version}",
        troubles=(*troubles, *wrong_clock(one.name, one.clock_error_s)),
    )
