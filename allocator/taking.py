"""Collections that need not be taken: chosen beside a plan of those who must be housed, finished and checked."""

from dataclasses import replace

from allocator.answering import PlannerFault, answer_of
from allocator.check import Breach
from allocator.finishing import finish
from allocator.model.choosing import choose
from allocator.model.in_hand import in_hand
from allocator.model.levels import not_taken_outcome
from allocator.model.run import Found, Run
from allocator.needs import Needs, with_held_back
from allocator.result import Answer, Shortage

MOST_TRIES = 3
"""So often it is chosen anew because of the company that taken broods keep others; the last time without the solver."""


def answer_taking(
    run: Run,
    everyone: Needs,
    begin: Found,
    shortages: tuple[Shortage, ...],
    *,
    adding: bool,
    finished: bool = True,
) -> tuple[Answer, Found, tuple[Breach, ...]]:
    """Return a checked answer that takes what collections it can, no worse for those who must be housed.

    Parameters
    ----------
    run
        Whose tables are those of the broods that must be housed.
    everyone
        The tables of all broods.
    begin
        The plan of those that must be housed, with level 1 told.
    shortages
        To be read out.
    adding
        Whether vessels are added.
    finished
        Whether the levels after the first are looked at too.

    Raises
    ------
    PlannerFault
        As `answer_of`, where even a plan that takes nothing breaks a rule.
    """
    held = dict(begin.needs.held_back)
    for attempt in range(MOST_TRIES):
        found = choose(run, with_held_back(everyone, held), begin, solver=attempt < MOST_TRIES - 1)
        if len(found.needs.broods) == len(begin.needs.broods):
            break
        keep, prefer = in_hand(found.needs, run.against)
        own = replace(run, needs=found.needs, keep=keep, prefer=prefer)
        try:
            if finished:
                finish(own, found, adding=adding)
            answer, breaches = answer_of(own, found, shortages)
        except PlannerFault as fault:
            if not fault.held_back:
                raise
            held |= fault.held_back
            continue
        finally:
            run.work, run.cut_short = own.work, own.cut_short
        reached, begun = found.score, begin.score
        if (reached.homeless_fish_days, reached.added_cost) <= (begun.homeless_fish_days, begun.added_cost):
            return answer, found, breaches
    else:
        found = replace(
            begin, levels=[*begin.levels, not_taken_outcome(len(everyone.broods) - len(begin.needs.broods))]
        )
    if finished:
        finish(run, found, adding=adding)
    answer, breaches = answer_of(run, found, shortages)
    return answer, found, breaches
