"""The same door for an ASGI server."""

import os

from django.core.asgi import get_asgi_application

from config import environment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
environment.require_for_serving()

application = get_asgi_application()
