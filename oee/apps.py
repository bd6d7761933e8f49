from django.apps import AppConfig


class OeeConfig(AppConfig):
    name = "oee"
    verbose_name = "Where the planned minutes went"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from cells import stale
        from oee import cycle_panel
        from oee.health import register_checks
        from oee.jobs import ask_for_recompute
        from oee.panels import register_panels

        register_checks()
        register_panels()
        cycle_panel.register_panels()
        stale.marked.connect(ask_for_recompute, dispatch_uid="recompute")
