"""Codes of areas, lines and cells: what they look like, and that each is used once.

A file may name any of the three by its code alone, and so does a label on a fence. So
the three share one set of codes, a code stays for good, and it fits in an address.
"""

import re

from django.core.exceptions import ValidationError

from cells import csv_cells
from cells.models import Area, Cell, Line

_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


def check_shape(code: str) -> None:
    if not _CODE.fullmatch(code):
        raise ValidationError(
            {
                "code": f"The code “{code}” cannot be used: write letters, digits, "
                "dots, dashes and underscores, without spaces."
            }
        )


def check_key(field: str, key: str, max_length: int = 40) -> None:
    """Other keys (serials, positions, names of shifts): as files may bring them."""
    try:
        csv_cells.code(max_length)(key)
    except ValueError as error:
        raise ValidationError({field: str(error)}) from error


def check_free(code: str) -> None:
    """An area, a line and a cell cannot share a code, in capitals or not."""
    for model in (Area, Line, Cell):
        taken = model.objects.filter(code__iexact=code).first()
        if taken is not None:
            raise ValidationError(
                {
                    "code": f"The code “{code}” is taken by the "
                    f"{model._meta.verbose_name} {taken.code} ({taken.name}): choose "
                    "another."
                }
            )
