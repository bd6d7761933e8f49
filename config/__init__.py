# Importing the app here lets every process that loads Django find the queue.
from config.celery import app as celery_app

__all__ = ["celery_app"]
