"""python manage.py restore FILE"""

from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.backup.archive import BackupError
from config.backup.restoring import restore

#: What a person knows the plant's size by.
TOLD = ("oee.CellShift", "maintenance.Stop", "maintenance.Task", "cells.Machine")


class Command(BaseCommand):
    help = (
        "Restores a backup into the database of DATABASE_URL, which must be empty. "
        "An older backup is migrated, a newer one is refused."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *, file: Path, **options: Any) -> None:
        try:
            manifest = restore(file)
        except BackupError as error:
            raise CommandError(str(error)) from None
        plant = manifest.contents.plant
        self.stderr.write(
            f"Restored {f'“{plant}”' if plant else 'a plant without a name'} as of "
            f"{manifest.taken_at:%Y-%m-%d %H:%M:%S} UTC: {_told()}. Everybody has to "
            "sign in again."
        )


def _told() -> str:
    models = [apps.get_model(name) for name in TOLD]
    counts = [
        f"{model._default_manager.count():,} {model._meta.verbose_name_plural}"
        for model in models
    ]
    return ", ".join(counts)
