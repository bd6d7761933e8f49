"""What a printed label carries: a QR code and the same address in letters.

The address is built from the configured one, never from the request's Host: whoever
forges that header would print labels that lead elsewhere. Opening it needs sign-in.
"""

from dataclasses import dataclass

import segno
from django.conf import settings
from django.urls import reverse

from cells.models import Cell, Machine

MODULE_MM = 1.1  # a phone reads it at arm's length, through a dirty sleeve


@dataclass(frozen=True, kw_only=True)
class Label:
    code: str  # what people type where no camera reads
    words: str
    address: str
    svg: str


def cell_label(cell: Cell) -> Label:
    return _label(cell.code, cell.name, reverse("cell_short", args=[cell.code]))


def machine_label(machine: Machine) -> Label:
    path = reverse("machine_short", args=[machine.serial])
    return _label(machine.serial, machine.get_kind_display(), path)


def _label(code: str, words: str, path: str) -> Label:
    address = f"{settings.BASE_ADDRESS}{path}"
    svg = segno.make(address, error="m", micro=False).svg_inline(
        scale=MODULE_MM, unit="mm", border=4, dark="#000", light="#fff"
    )
    return Label(code=code, words=words, address=address, svg=svg)
