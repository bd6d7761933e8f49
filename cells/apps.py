from django.apps import AppConfig


class CellsConfig(AppConfig):
    name = "cells"
    verbose_name = "Cells and working time"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from cells import floor_checks
        from cells.rights import create_roles

        floor_checks.register_all()
        post_migrate.connect(create_roles, sender=self)
