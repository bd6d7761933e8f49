"""python manage.py backup FILE|DIR [--keep N] [--try-restore]"""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.template.defaultfilters import filesizeformat

from config.backup import taking
from config.backup.archive import BackupError


class Command(BaseCommand):
    help = (
        "Writes the whole database, as it is at one moment, into one new file, while "
        "people go on working. Only sign-ins are left out."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "target",
            metavar="FILE|DIR",
            type=Path,
            help="A new file, or a folder: there the file is named by its moment.",
        )
        parser.add_argument(
            "--keep",
            type=int,
            metavar="N",
            help="Afterwards remove all but the N newest backups of the folder.",
        )
        parser.add_argument(
            "--try-restore",
            action="store_true",
            help="Afterwards restore it into a database of its own, and throw that "
            "away.",
        )

    def handle(
        self,
        *,
        target: Path,
        keep: int | None,
        try_restore: bool,
        **options: Any,
    ) -> None:
        if keep is not None and (keep < 1 or not target.is_dir()):
            raise CommandError(
                f"--keep is {keep}. Give a number from 1, with a folder to keep them "
                "in."
            )
        try:
            backup = taking.take(target)
            size = filesizeformat(backup.size)
            self.stderr.write(f"Backed up to {backup.path} ({size}).")
            if try_restore:
                taking.try_restore(backup)
                self.stderr.write("Restored on trial: every row is there.")
        except BackupError as error:
            raise CommandError(str(error)) from None
        if keep is not None:
            for path in taking.remove_older(target, keep=keep):
                self.stderr.write(f"Removed {path}.")
