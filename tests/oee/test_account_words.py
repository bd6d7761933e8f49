from hypothesis import given
from hypothesis import strategies as st

from oee.account_words import FLAG_WORDS, balance_of, parts_of
from oee.ledger.flags import Flag, names
from oee.ledger.sums import cell_shift
from oee.templatetags.accounts import unbroken

MINUTE_US = 60_000_000


def sums(*, counted=True, **columns):
    return cell_shift({"scheduled_s": 440 * 60, **columns}, counted=counted)


def test_the_line_reads_like_the_shift_that_adds_up():
    # Own arithmetic: 440 = 351 + 9 + 52 + 28.
    account = sums(
        breakdown_s=40 * 60,
        minor_s=12 * 60,
        ideal_total_us=360 * MINUTE_US,
        ideal_good_us=351 * MINUTE_US,
    )
    balance = balance_of(account)
    assert balance.line == ("351 good making · 9 rejects · 52 stopped · 28 unexplained")
    assert balance.planned == 440
    assert not balance.is_much


def test_more_made_than_the_time_allows_is_shown_as_negative():
    balance = balance_of(
        sums(ideal_total_us=452 * MINUTE_US, ideal_good_us=452 * MINUTE_US)
    )
    assert balance.line.endswith("0 stopped · −12 unexplained")
    assert balance.is_negative


def test_without_a_count_the_rest_is_not_known():
    balance = balance_of(sums(counted=False, setup_s=52 * 60))
    assert balance.line == "52 stopped · 388 not counted yet"
    assert (balance.good, balance.unexplained) == (None, None)


@given(
    busy_s=st.integers(1, 30_000),
    stopped_s=st.integers(0, 30_000),
    total_us=st.integers(0, 10**11),
    good_share=st.floats(0, 1),
)
def test_the_whole_minutes_always_add_up_to_the_planned_ones(
    busy_s, stopped_s, total_us, good_share
):
    account = cell_shift(
        {
            "scheduled_s": busy_s,
            "starved_s": min(busy_s, stopped_s),
            "ideal_total_us": total_us,
            "ideal_good_us": int(total_us * good_share),
        },
        counted=True,
    )
    balance = balance_of(account)
    shares = (balance.good, balance.rejects, balance.stopped, balance.unexplained)
    assert sum(shares) == balance.planned == (busy_s + 30) // 60
    exact_us = (
        account.ideal_good_us,
        account.reject_us,
        account.starved_s * 1_000_000,
        account.slow_us,
    )
    for share, exact in zip(shares, exact_us, strict=True):
        assert abs(share * MINUTE_US - exact) < MINUTE_US


def test_the_bar_is_cut_into_the_planned_seconds():
    account = sums(
        blocked_s=600, ideal_total_us=300 * MINUTE_US, ideal_good_us=290 * MINUTE_US
    )
    assert sum(part.seconds for part in parts_of(account)) == account.busy_s


def test_every_flag_has_words():
    assert set(FLAG_WORDS) == set(names(sum(Flag)))


def test_a_code_in_a_sentence_does_not_break_at_its_hyphen() -> None:
    assert unbroken("FR2-070 lost <most>: set-up of body-1.") == (
        '<span class="code">FR2-070</span> lost &lt;most&gt;: set-up of '
        '<span class="code">body-1</span>.'
    )
