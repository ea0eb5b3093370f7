"""Ask with every vessel by its name whether so much is enough, and how little is: for rooms that are small enough.

The model knows of no company. What it says is not enough is not; what it says is enough is settled by first fit as
company wants it, and where that fails the question is put again with those who are held back staying for longer.
"""

from dataclasses import replace
from math import ceil

from allocator.model.bounds import Bound, cost_of
from allocator.model.by_name import ByName
from allocator.model.company import held_back_in
from allocator.model.improving import budget, is_large
from allocator.model.levels import COST
from allocator.model.naming import Solution
from allocator.model.quick import in_company_as
from allocator.model.run import Found, Run
from allocator.model.search import Found as Searched
from allocator.model.search import search
from allocator.model.settling import Settler
from allocator.needs import Needs, with_held_back

SEEDS = (1, 2)

MOST_TURNS = 6
"""So often it is asked again, each time with more days for those whom company holds back (judgement)."""


MOST_BROODS_HERE = 60
"""Of more that are in the first stage today, or begin it, the question is too large (judgement)."""

MOST_BROODS_BESIDE = 300
"""In larger rooms that question took 20 to 30 s and showed nothing (measured on three farms)."""


def may_ask_by_name(run: Run) -> bool:
    """Tell whether a room is small enough, and all that is found in it today can be told.

    Where more effort is wanted, as for published instances, cohorts are asked: there nobody's dates vary.
    """
    return not (is_large(run) or run.effort > 1 or run.needs.mixed_today)


def ask_by_name(run: Run, found: Found, cost: int) -> bool | None:
    """Ask whether so much is enough, and take the plan that shows it.

    Parameters
    ----------
    run, found
        What is shared, and the best so far.
    cost
        In hundredths.

    Returns
    -------
    bool or None
        True where `found` is now a plan of that cost at most, which company bears; False where no plan can do it, which
        is confirmed; None where that is not known.
    """
    plan, impossible = plan_by_name(run, cost)
    if plan is not None and plan.score.key() < found.score.key():
        found.give_way(plan.solution, plan.score, plan.by, plan.needs)
    return True if plan is not None else False if impossible else None


def plan_by_name(run: Run, cost: int) -> tuple[Found | None, bool]:
    """Return a plan of such a cost at most that company bears, and whether it is sure that there is none."""
    needs = run.needs
    for turn in range(MOST_TURNS):
        model = ByName(needs, cost)
        result = _searched(run, model, f"is {cost / 100:g} enough?")
        if result.value is None:
            sure = turn == 0 and result.impossible and needs is run.sure
            return None, sure and _never(run, needs, cost)
        plan, late = _in_company(run, needs, model.read(result.value))
        if plan is not None or not late or run.over():
            return plan, False
        needs = with_held_back(needs, late)
    return None, False


def least_by_name(run: Run, found: Found, bounds: list[Bound], floor: int) -> int:
    """Look for the least cost of vessels to add, and return what it is at least, in hundredths.

    Parameters
    ----------
    run, found
        What is shared, and the best so far; a better one takes its place.
    bounds, floor
        What is known of the vessels to add, and of their cost.
    """
    needs, bound = run.needs, floor
    for _ in range(MOST_TURNS):
        if bound >= found.score.added_cost or run.over():
            break
        model = ByName(needs, found.score.added_cost - 1)
        model.model.add(model.spent >= bound)
        model.model.minimize(model.spent)
        result = _searched(run, model, COST)
        if needs is run.sure:
            said = found.score.added_cost if result.impossible else result.bound
            bound = _at_least(run, needs, bounds, floor, said)
        if result.value is None:
            break
        plan, late = _in_company(run, needs, model.read(result.value))
        if plan is not None and plan.score.key() < found.score.key():
            found.give_way(plan.solution, plan.score, plan.by, plan.needs)
        if plan is not None or not late:
            break
        needs = with_held_back(needs, late)
    return bound


def least_for_those_here(run: Run, bounds: list[Bound], floor: int) -> int:
    """Return what must be spent at least for those alone who are in the first stage today, or begin it, in hundredths.

    What they need without the others, all need: so a room that is too large to be asked about as a whole may be told
    what it is short of even so.
    """
    here = run.sure.only(
        {brood.name for brood in run.sure.broods if brood.start == 0 and brood.phases[0].stage == 0}
    )
    fits = 0 < len(here.broods) <= MOST_BROODS_HERE and len(run.sure.broods) <= MOST_BROODS_BESIDE
    if not fits or here.mixed_today or run.effort > 1 or run.over():
        return floor
    model = ByName(here, sum(kind.price * kind.most for kind in here.classes))
    model.model.minimize(model.spent)
    result = _searched(run, model, "what those here need")
    return floor if result.impossible else _at_least(run, here, bounds, floor, result.bound)


def _at_least(run: Run, needs: Needs, bounds: list[Bound], floor: int, said: float) -> int:
    """Return what must be spent at least, where the solver said so and said it again without presolve."""
    least = cost_of(needs, bounds, above=ceil(said - 1e-6) - 1) if said > floor else None
    return least if least is not None and _never(run, needs, least - 1) else floor


def _never(run: Run, needs: Needs, cost: int) -> bool:
    """Ask again, without presolve, whether really no plan costs so little."""
    model = ByName(needs, cost)
    result = search(
        model.model,
        budget(run, "confirm"),
        stop=run.stop,
        tell=run.tell("making sure that no cheaper plan exists"),
        presolve=False,
    )
    run.work += result.work
    return result.impossible


def _searched(run: Run, model: ByName, stage: str) -> Searched:
    """Search for an answer; where there is none, from another seed, which often has one at once.

    How long a question takes is a matter of luck (measured, see docs/explanation/formulations.md).
    """
    best, *_ = tries = [_try(run, model, stage, SEEDS[0])]
    for seed in SEEDS[1:]:
        if tries[-1].decided or run.over():
            break
        tries.append(_try(run, model, stage, seed))
        if tries[-1].value is not None and (best.value is None or tries[-1].objective < best.objective):
            best = tries[-1]
    return tries[-1] if tries[-1].decided else replace(best, bound=max(one.bound for one in tries))


def _try(run: Run, model: ByName, stage: str, seed: int) -> Searched:
    result = search(model.model, budget(run, "by name"), stop=run.stop, tell=run.tell(stage), seed=seed)
    run.work += result.work
    return result


def _in_company(run: Run, needs: Needs, solution: Solution) -> tuple[Found | None, dict[str, int]]:
    """Return a solution as company leaves it; where somebody has no home then, None and how long to hold back whom."""
    if not _may_be(needs, solution):
        return None, {}
    eased, borne = in_company_as(run, needs, solution, "in what company")
    if borne.score.homeless_fish_days == 0:
        return borne, {}
    late = held_back_in(needs, eased)
    held = {name: needs.held_back.get(name, 0) + days for name, days in late.items()}
    return None, {**needs.held_back, **held} if held else {}


def _may_be(needs: Needs, solution: Solution) -> bool:
    """Tell whether all may be settled so: the model counts no moves, and lets go of a few things that seldom matter."""
    settler = Settler(needs, solution.added)
    settler.board.settle_as(solution.settled)
    return not any(settler.may_not_be())
