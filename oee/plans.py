"""How many bodies a line is to build in a shift."""

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import trail
from cells.models import Shift
from oee.counts import MOST_BODIES
from oee.models import ProductionPlan
from oee.rights import need_to_plan_output


@transaction.atomic
def set_plan(
    *,
    shift: Shift,
    bodies: int,
    by: User | None,
    why: str = "",
    door: str = "page",
) -> ProductionPlan:
    """The account does not depend on it, so nothing is computed again.

    A plan that changes needs a reason; a first one does not.
    """
    if by is not None:
        need_to_plan_output(by)
    check(shift, bodies)
    # Of two who plan it at once, the second changes what the first one planned.
    Shift.objects.select_for_update(no_key=True).order_by("pk").get(pk=shift.pk)
    plan = ProductionPlan.objects.filter(shift=shift).first()
    if plan is None:
        plan = ProductionPlan(shift=shift, bodies=bodies)
        plan.full_clean()
        plan.save()
        trail.created([plan], by=by, why=why.strip(), door=door)
    elif plan.bodies != bodies:
        if not why.strip():
            raise ValidationError(
                {"why": f"Say why the plan changes from {plan.bodies} to {bodies}."}
            )
        trail.save_changes(plan, {"bodies": bodies}, by=by, why=why, door=door)
    return plan


def check(shift: Shift, bodies: int) -> None:
    if not 0 <= bodies <= MOST_BODIES:
        raise ValidationError(
            {"bodies": f"Planned bodies ({bodies}) must lie between 0 and a million."}
        )
    if shift.is_cancelled and bodies:
        raise ValidationError(
            {"bodies": f"{shift} was cancelled: plan 0 bodies, or another shift."}
        )
