"""Whether the account keeps up, and whether it could be brought back."""

from django.conf import settings
from django.db.models.functions import Greatest
from django.template.defaultfilters import filesizeformat, pluralize
from django.utils import timezone

from cells import clock
from cells.models import StaleMark
from cells.moments import MomentField
from cells.templatetags.figures import moment
from config.models import Backup
from config.running.parts import HOUR, MINUTE, Part, how_long
from oee.recompute import waiting

#: The sweep comes every minute, and a whole year takes some seconds.
LATE_S = 5 * MINUTE
#: One a day, and some hours of grace.
OLD_BACKUP_S = 36 * HOUR


def account() -> Part:
    """What waits since when: since the shift's end, or since it was changed later."""
    marks = StaleMark.objects.filter(shift__ends_at__lte=clock.now())
    oldest = (
        marks.annotate(
            since=Greatest("marked_at", "shift__ends_at", output_field=MomentField())
        )
        .order_by("since", "id")
        .select_related("cell", "shift")
        .first()
    )
    many = waiting()
    if oldest is None or not many:  # a worker may have come in between
        return Part(name="Account", words="every shift that has ended is accounted for")
    age = (clock.now() - oldest.since).total_seconds()
    words = (
        f"{many:,} cell-shift{pluralize(many)} wait{pluralize(many, 's,')}, the oldest "
        f"({oldest.cell.code}, {oldest.shift.production_date} {oldest.shift.name}) for "
        f"{how_long(age)}"
    )
    late = (
        f"Figures are behind: {words}. See that a worker runs and what it says in its "
        "log.",
    )
    return Part(name="Account", words=words, troubles=late if age > LATE_S else ())


def backup() -> Part:
    if settings.DEMO:
        words = "none: the demo is built afresh at each start"
        return Part(name="Backup", words=words)
    last = Backup.objects.first()
    if last is None:
        return Part(
            name="Backup",
            words="none on record",
            troubles=(
                "No backup was ever taken of this database: run manage.py backup, and "
                "let a timer run it every day.",
            ),
        )
    return Part(name="Backup", words=_of(last), troubles=_what_a_backup_lacks(last))


def _of(last: Backup) -> str:
    tried = (
        f"restored on trial {moment(last.restored_at)}"
        if last.restored_at
        else "never restored on trial"
    )
    return (
        f"{moment(last.taken_at)}, {filesizeformat(last.size)}, {tried}, at "
        f"{last.host}:{last.path}"
    )


def _what_a_backup_lacks(last: Backup) -> tuple[str, ...]:
    troubles = []
    age = (timezone.now() - last.taken_at).total_seconds()
    if age > OLD_BACKUP_S:
        troubles.append(
            f"The last backup is {how_long(age)} old: see why the timer took no newer "
            "one."
        )
    if last.restored_at is None:
        troubles.append(
            "Nobody knows whether the last backup can be restored: run manage.py "
            "backup with --try-restore."
        )
    return tuple(troubles)
