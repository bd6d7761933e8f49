"""What each part of the installation says of itself."""

from dataclasses import dataclass

MINUTE, HOUR, DAY = 60, 3600, 86_400


@dataclass(frozen=True, kw_only=True)
class Part:
    name: str
    words: str  # how it is
    #: What somebody has to do something about: whole sentences, the worst first.
    troubles: tuple[str, ...] = ()


def how_long(seconds: float) -> str:
    """45 → "45 s", 720 → "12 min", 18000 → "5 h", 260000 → "3 days"."""
    if seconds < 2 * MINUTE:
        return f"{seconds:.0f} s"
    if seconds < 2 * HOUR:
        return f"{seconds / MINUTE:.0f} min"
    if seconds < 2 * DAY:
        return f"{seconds / HOUR:.0f} h"
    return f"{seconds / DAY:.0f} days"


#: A fraction of a second lies in asking; ordinary time keeping stays well below this.
CLOCK_ERROR_S = 5.0


def wrong_clock(whose: str, error_s: float) -> tuple[str, ...]:
    """By how much a clock differs from the database's: ahead is positive."""
    if abs(error_s) < CLOCK_ERROR_S:
        return ()
    ahead = "ahead of" if error_s > 0 else "behind"
    return (
        f"The clock of {whose} is {how_long(abs(error_s))} {ahead} the database’s: "
        "set it, and let it keep time by itself (NTP).",
    )
