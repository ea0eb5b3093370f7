"""Erlang's loss formula: printed values, exact fractions, the sum it comes from, and chance itself."""

from fractions import Fraction
from heapq import heappop, heappush
from math import exp, factorial
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from allocator.husbandry.chance import erlang_b, most_offered

ONE_PERCENT = {
    1: 0.0101,
    2: 0.153,
    3: 0.455,
    4: 0.869,
    5: 1.36,
    6: 1.91,
    8: 3.13,
    10: 4.46,
    15: 8.108,
    20: 12.03,
    30: 20.34,
}
"""What may be offered to so many servers at 1 % loss: the classic table of telephone traffic (from memory; the value for
15 is printed in several manuals as 8.108)."""

FIVE_PERCENT = {1: 0.0526, 2: 0.3813, 3: 0.8994, 5: 2.2185, 10: 6.2157, 20: 15.2493}
"""The same at 5 % loss (from memory, as far as it is printed)."""


class TestPrinted:
    @pytest.mark.parametrize(("servers", "offered"), ONE_PERCENT.items())
    def test_one_percent(self, servers, offered):
        assert most_offered(servers, 0.01) == pytest.approx(offered, rel=5e-3)

    @pytest.mark.parametrize(("servers", "offered"), FIVE_PERCENT.items())
    def test_five_percent(self, servers, offered):
        assert most_offered(servers, 0.05) == pytest.approx(offered, abs=5e-4)

    def test_thirty_servers(self):
        """30 servers offered 25: about 5 %, as printed in worked examples; 0.0526032 to seven digits."""
        assert erlang_b(30, 25) == pytest.approx(0.0526032, abs=5e-8)

    @pytest.mark.parametrize(
        ("servers", "offered", "share"),
        [
            (1, 1, Fraction(1, 2)),
            (2, 1, Fraction(1, 5)),
            (3, 1, Fraction(1, 16)),
            (2, 2, Fraction(2, 5)),
        ],
    )
    def test_exact_fractions(self, servers, offered, share):
        assert erlang_b(servers, offered) == pytest.approx(float(share), rel=1e-12)


@given(st.integers(0, 40), st.integers(1, 60))
def test_the_recursion_is_the_closed_form(servers, offered):
    """B = (a^n / n!) / sum of a^k / k! for k from 0 to n (Erlang 1917), summed in exact fractions."""
    terms = [Fraction(offered**k, factorial(k)) for k in range(servers + 1)]
    assert erlang_b(servers, offered) == pytest.approx(float(terms[-1] / sum(terms)), rel=1e-9)


def turned_away(servers, offered, arrivals, days_of, random):
    """Return the share of broods that find no vessel free, arrival by arrival."""
    now, lost, busy = 0.0, 0, []
    for _ in range(arrivals):
        now += random.expovariate(offered)
        while busy and busy[0] <= now:
            heappop(busy)
        if len(busy) == servers:
            lost += 1
        else:
            heappush(busy, now + days_of(random))
    return lost / arrivals


@pytest.mark.parametrize(
    "days_of",
    [lambda _: 1.0, lambda random: random.expovariate(1.0), lambda random: random.uniform(0.5, 1.5)],
)
@pytest.mark.parametrize(("servers", "offered"), [(5, 2.0), (8, 5.0)])
def test_chance_itself(servers, offered, days_of):
    """Broods that come at random, simulated; only the mean of the days matters (four standard errors are let go)."""
    arrivals = 60_000
    found = turned_away(servers, offered, arrivals, days_of, Random(7))  # noqa: S311 - no secret
    share = erlang_b(servers, offered)
    assert found == pytest.approx(share, abs=4 * (2 * share / arrivals) ** 0.5 + 1e-3)


def test_no_vessel_and_no_brood():
    assert erlang_b(0, 3.0) == 1.0
    assert erlang_b(4, 0.0) == 0.0
    assert most_offered(0, 0.5) == 0.0


@pytest.mark.parametrize(("vessels", "offered"), [(-1, 1.0), (1, -0.1)])
def test_nonsense_is_refused(vessels, offered):
    with pytest.raises(ValueError, match="0 or more"):
        erlang_b(vessels, offered)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.2])
def test_a_share_that_is_none(share):
    with pytest.raises(ValueError, match="between 0 and 1"):
        most_offered(3, share)


def test_one_vessel_and_a_light_load():
    """With one vessel the share is a / (1 + a); with many and a light load it is the Poisson tail's first term."""
    assert erlang_b(1, 0.25) == pytest.approx(0.2)
    assert erlang_b(6, 0.1) == pytest.approx(0.1**6 / factorial(6) * exp(-0.1), rel=1e-6)
