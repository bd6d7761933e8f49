from django.apps import AppConfig


class MaintenanceConfig(AppConfig):
    name = "maintenance"
    verbose_name = "Stops and preventive maintenance"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from maintenance.panels import register_panels

        register_panels()
