from django.apps import AppConfig


class OeeConfig(AppConfig):
    name = "oee"
    verbose_name = "Where the planned minutes went"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from oee.health import register_checks

        register_checks()
