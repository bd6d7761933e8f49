"""What is stored: all of it, or how much of each kind."""

from collections import Counter
from typing import Any

from django.apps import apps
from django.db import connection

#: Who is signed in, and who guessed wrong.
ASIDE = ("sessions", "axes", "contenttypes")


def _models() -> list[Any]:
    return [one for one in apps.get_models() if one._meta.app_label not in ASIDE]


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, by the name of its model."""
    return {
        model._meta.label: list(model._default_manager.order_by("pk").values_list())
        for model in _models()
    }


def amounts() -> Counter[str]:
    """Rows of every table, but for the marks: one that stands twice is computed once.

    Whatever changes a stored fact adds to the trail, so it changes these too.
    """
    names = [model._meta.db_table for model in _models()]
    names.remove("cells_stalemark")
    counts = (f"SELECT '{name}', COUNT(*) FROM {name}" for name in names)
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(counts))
        return Counter(dict(cursor.fetchall()))
