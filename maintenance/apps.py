from django.apps import AppConfig


class MaintenanceConfig(AppConfig):
    name = "maintenance"
    verbose_name = "Stops and preventive maintenance"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from cells import meters, placements
        from maintenance.health import register_checks
        from maintenance.open_tasks import follow
        from maintenance.panels import register_panels

        register_checks()
        register_panels()
        meters.reading_changed.connect(follow, dispatch_uid="tasks follow readings")
        placements.moved.connect(follow, dispatch_uid="tasks follow machines")
