"""Those left over by first fit are housed by settling a few broods at a time anew; the checker walks what comes of it."""

from threading import Event
from time import monotonic

from benchmark.rooms import bench_room

from allocator.answering import answer_of
from allocator.model.board import score_of
from allocator.model.few_anew import FewAnew
from allocator.model.first_fit import FirstFit
from allocator.model.in_hand import in_hand
from allocator.model.naming import Solution
from allocator.model.run import Found, Run
from allocator.needs import needs_of
from allocator.plan import Verdict
from allocator.result import FoundBy


def test_who_is_left_over_gets_a_home_among_the_others() -> None:
    room = bench_room("half-full", "home", 1)
    needs = needs_of(room)
    run = Run(room, needs, needs, Event(), None, monotonic(), lambda _: None, *in_hand(needs, None))
    fit = FirstFit(needs, {})
    fit.run()
    before = dict(fit.board.settled)
    assert [index for index, settled in before.items() if settled.homeless is not None]

    FewAnew(run, fit.board, "test").go_on()

    solution = Solution(fit.board.solution(), {})
    found = Found(needs, solution, score_of(needs, {}, solution.settled), FoundBy.SOLVER)
    answer, breaches = answer_of(run, found, ())  # raises where the checker finds fault with it
    assert answer.plan.verdict is Verdict.FITS
    assert not [breach for breach in breaches if not breach.as_found]
    assert any(fit.board.settled[index] == settled for index, settled in before.items())
