"""What may be sent to a page: fields, and no files. A plant's files are loaded by
``load_plant``, on the server."""

from typing import Any

from django.core.exceptions import SuspiciousFileOperation
from django.core.files.uploadhandler import FileUploadHandler


class FileSentError(SuspiciousFileOperation):
    """No page asks for one."""


class NoFiles(FileUploadHandler):
    """Else whatever is sent would be kept on this machine's disk, of any size."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        raise FileSentError("A file was sent to a page that asks for none.")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        return None

    def file_complete(self, file_size: int) -> None:
        return None
