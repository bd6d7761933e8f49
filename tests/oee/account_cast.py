"""The cast with four weeks of stored accounts, small enough to check by hand.

Every early shift of line L1 from Monday 2 February to Friday 27 February: at its
counting cell 440 planned minutes, of which 330 made good bodies, so OEE 75 %.
Monday 2 March is worked example X1 at that cell (351 of 440 min, 79.77 %).
"""

from datetime import date, timedelta
from decimal import Decimal

from cells.models import AreaTarget, Shift
from maintenance.models import Reason
from oee.ledger.flags import Flag
from oee.models import CellShift, ProductionPlan
from tests.builders import MONDAY, Cast, make_shift, the_cast
from tests.oee.stored import an_account

MINUTE_US = 60_000_000
FOUR_WEEKS_BEFORE = date(2026, 2, 2)


def minutes(**classes: float) -> dict[str, int]:
    """Seconds by class: minutes(breakdown=20)."""
    return {f"{name}_s": round(60 * length) for name, length in classes.items()}


def counted(*, made: int, good: int, **classes: float) -> dict[str, object]:
    """440 planned minutes, ideal cycle 60 s."""
    return {
        "break_s": 2400,
        "counted": True,
        "made": made,
        "good": good,
        "ideal_total_us": made * MINUTE_US,
        "ideal_good_us": good * MINUTE_US,
        **minutes(**classes),
    }


def make_reasons() -> dict[str, Reason]:
    return {
        code: Reason.objects.create(code=code, name=name, loss_class=loss_class)
        for code, name, loss_class in (
            ("gun", "gun force", "breakdown"),
            ("tip", "tip stick", "minor"),
            ("wait", "nothing from upstream", "starved"),
        )
    }


def x1(cast: Cast, reasons: dict[str, Reason], shift: Shift) -> CellShift:
    """52 stopped of 440: 40 gun force, 12 starved; 360 made, 351 good at 60 s."""
    return an_account(
        cast.cells[2],
        shift,
        **counted(made=360, good=351, breakdown=40, starved=12),
        reasons={
            str(reasons["gun"].pk): [2400, 3],
            str(reasons["wait"].pk): [720, 2],
        },
    )


def make_accounts() -> tuple[Cast, dict[str, Reason]]:
    cast, reasons = the_cast(), make_reasons()
    AreaTarget.objects.create(
        area=cast.area, oee=Decimal("0.85"), valid_from=date(2026, 1, 1)
    )
    rows = [x1(cast, reasons, cast.early)]
    # Its neighbour lost more, and was not counted.
    rows.append(
        an_account(
            cast.cells[0],
            cast.early,
            break_s=2400,
            flags=int(Flag.NO_COUNT | Flag.NOT_CONFIRMED),
            **minutes(breakdown=50, minor=10),
            reasons={
                str(reasons["gun"].pk): [3000, 4],
                str(reasons["tip"].pk): [600, 9],
            },
        )
    )
    for day in range(26):
        on = FOUR_WEEKS_BEFORE + timedelta(days=day)
        if on.weekday() < 5:
            shift = make_shift(cast.line, on=on)
            rows.append(an_account(cast.cells[2], shift, **counted(made=330, good=330)))
    CellShift.objects.bulk_create(rows)
    return cast, reasons


def plan(shift: Shift, bodies: int) -> None:
    ProductionPlan.objects.create(shift=shift, bodies=bodies)


assert date(2026, 3, 2) == MONDAY  # the hand-worked numbers rest on it
