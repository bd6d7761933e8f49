from django.apps import AppConfig


class OeeConfig(AppConfig):
    name = "oee"
    verbose_name = "Where the planned minutes went"
    default_auto_field = "django.db.models.BigAutoField"
