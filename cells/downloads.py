"""The rows of a page's table as a file for a spreadsheet: ``?csv=1``."""

from collections.abc import Iterable, Sequence

from django.http import HttpResponse
from django.utils.http import content_disposition_header

from cells.csv_files import write_rows


def csv_response(
    name: str, header: Sequence[str], rows: Iterable[Sequence[object]]
) -> HttpResponse:
    """``name`` without its ending, like "stops"."""
    response = HttpResponse(
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": str(content_disposition_header(True, f"{name}.csv"))
        },
    )
    write_rows(response, header, rows)
    return response
