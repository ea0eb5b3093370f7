"""Make a plan more comfortable: a few broods at a time are settled anew, and stay so where company bears it."""

from allocator.model.first_fit import FirstFit
from allocator.model.holding_back import PutOff
from allocator.model.naming import Solution, trimmed
from allocator.model.option import EASY_PAID
from allocator.model.run import PASSES_TO_CHECK, Found, Run
from allocator.model.settled import Score

SEED = 11

# Chosen by trying, see docs/explanation/speed.md.
MOST_GOES = 20
ROUNDS_A_GO = 100
ROUNDS_PER_BROOD = 3
LEAST_GAIN = 0.005
"""The part of the strain that a go must lessen for another to follow."""


def put_off(found: Found) -> None:
    """Put off the sales for which company asks, where all can stay so long: for rooms too large to be eased."""
    fit = FirstFit(found.needs, found.solution.added, EASY_PAID)
    fit.board.settle_as(found.solution.settled)
    if PutOff(fit.board)() and fit.board.solution() != found.solution.settled:
        solution = Solution(fit.board.solution(), found.solution.added)
        found.give_way(trimmed(found.needs, solution), fit.board.score(), found.by)


def ease(run: Run, found: Found) -> None:
    """Lessen the strain of a plan, as long as that helps and there is time; a better one takes its place."""
    needs, added = found.needs, found.solution.added
    fit = FirstFit(needs, added, EASY_PAID)
    fit.board.settle_as(found.solution.settled)
    agrees = PutOff(fit.board)
    if not agrees():
        return
    begun = fit.board.score()
    tell = run.tell("strain")

    def go_on(score: Score) -> bool:
        tell(float(score.strain), None)
        return not run.tight(PASSES_TO_CHECK)

    rounds = min(ROUNDS_A_GO, ROUNDS_PER_BROOD * len(needs.broods))
    for go in range(MOST_GOES):
        before = fit.board.score().strain
        fit.improve(rounds, SEED + go, go_on=go_on, agrees=agrees)
        if before - fit.board.score().strain <= LEAST_GAIN * before:
            break
    if fit.board.score().key() < begun.key():
        found.give_way(trimmed(needs, Solution(fit.board.solution(), added)), fit.board.score(), found.by)
