"""Variants: what is built. The code is the key of files, so it stays."""

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import trail
from cells.codes import check_shape
from oee.models import Variant
from oee.rights import need_to_edit_variants


@transaction.atomic
def add_variant(
    *, code: str, name: str, by: User | None, door: str = "page"
) -> Variant:
    if by is not None:
        need_to_edit_variants(by)
    variant = Variant(code=code.strip(), name=name.strip())
    check_shape(variant.code)
    taken = Variant.objects.filter(code__iexact=variant.code).first()
    if taken is not None:
        raise ValidationError(
            {
                "code": f"The code “{variant.code}” is taken by the variant "
                f"{taken.code} ({taken.name}): choose another."
            }
        )
    variant.full_clean()
    variant.save()
    trail.created([variant], by=by, door=door)
    return variant


@transaction.atomic
def rename_variant(
    *, variant: Variant, name: str, why: str, by: User | None, door: str = "page"
) -> Variant:
    if by is not None:
        need_to_edit_variants(by)
    if not why.strip():
        raise ValidationError(
            {"why": f"Say why {variant} gets another name: the trail keeps the reason."}
        )
    trail.save_changes(
        variant, {"name": name.strip()}, by=by, why=why.strip(), door=door
    )
    return variant
