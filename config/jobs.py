"""What is cleared away at night, so that no table grows for ever."""

from datetime import timedelta
from importlib import import_module

from axes.models import AccessAttempt
from celery import shared_task
from django.conf import settings
from django.utils import timezone

from cells.attempts import carry_out

#: Long after the lock that they led to has ended.
GUESSES_KEPT = timedelta(days=1)


@shared_task
def forget_sign_ins() -> None:
    """Ended sessions, and wrong guesses that lock nobody out any more."""
    carry_out(forget_sign_ins.name, "Forgetting ended sessions and guesses", _forget)


def _forget() -> None:
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
    AccessAttempt.objects.filter(
        attempt_time__lt=timezone.now() - GUESSES_KEPT
    ).delete()
