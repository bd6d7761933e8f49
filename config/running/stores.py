"""The database and the queue."""

from datetime import datetime

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from django.db.models.functions import Now
from django.template.defaultfilters import filesizeformat, pluralize
from django.utils import timezone
from redis import Redis
from redis.exceptions import RedisError

from config.running.parts import Part, wrong_clock

PATIENCE_S = 0.5
#: The sweep sends one job a minute: so many wait only if more is sent than is done.
LONG_QUEUE = 500
#: Keys of the queue's client, under the prefix of the settings.
WAITING, TAKEN = "celery", "unacked_index"


def database() -> Part:
    """That it answers is settled: nobody gets this page without it."""
    missing = _unapplied_migrations()
    version = ".".join(str(part) for part in connection.get_database_version())
    troubles = wrong_clock("this web server", _clock_error_s())
    if missing:
        troubles = (
            f"The database lacks {missing} migration{pluralize(missing)}: run "
            "manage.py migrate, then start everything again.",
            *troubles,
        )
    return Part(
        name="Database",
        words=f"{connection.display_name} {version}, {filesizeformat(_size())}",
        troubles=troubles,
    )


def _size() -> int:
    question = (
        "SELECT pg_database_size(current_database())"
        if connection.vendor == "postgresql"
        else "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
    )
    with connection.cursor() as cursor:
        cursor.execute(question)
        return int(cursor.fetchone()[0])


def _unapplied_migrations() -> int:
    executor = MigrationExecutor(connection)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _clock_error_s() -> float:
    # A table that has a row in every database.
    rows = MigrationRecorder.Migration.objects.annotate(read_at=Now())
    its_now: datetime = rows.values_list("read_at", flat=True)[0]
    return (timezone.now() - its_now).total_seconds()


def queue_answers() -> bool:
    try:
        with _redis() as redis:
            return bool(redis.ping())
    except RedisError:
        return False


def queue() -> Part:
    try:
        with _redis() as redis:
            return _asked(redis)
    except RedisError as error:
        return Part(
            name="Queue",
            words="does not answer",
            troubles=(
                f"The queue (Redis) does not answer: {error}. Forms and pages go on, "
                "slower; figures wait until it is back.",
            ),
        )


def _asked(redis: Redis) -> Part:
    prefix = settings.CELERY_BROKER_TRANSPORT_OPTIONS["global_keyprefix"]
    waiting = int(redis.llen(f"{prefix}{WAITING}"))
    taken = int(redis.zcard(f"{prefix}{TAKEN}"))
    memory = redis.info("memory")
    policy = memory["maxmemory_policy"]
    troubles = []
    if waiting > LONG_QUEUE:
        troubles.append(
            f"{waiting:,} jobs wait in the queue: more are sent than are done. See "
            "that workers run, or start more of them."
        )
    if policy != "noeviction":
        troubles.append(
            f"The queue’s Redis throws jobs away when its memory is full "
            f"({policy}): set maxmemory-policy noeviction there."
        )
    return Part(
        name="Queue",
        words=(
            f"{waiting:,} job{pluralize(waiting)} wait{pluralize(waiting, 's,')}, "
            f"{taken:,} {pluralize(taken, 'is,are')} being done, "
            f"{filesizeformat(memory['used_memory'])} of memory"
        ),
        troubles=tuple(troubles),
    )


def _redis() -> Redis:
    return Redis.from_url(
        settings.REDIS_URL,
        socket_timeout=PATIENCE_S,
        socket_connect_timeout=PATIENCE_S,
        decode_responses=True,
    )
