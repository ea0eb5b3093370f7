"""A plan without the solver: settle everybody, settle anew who is badly off, then let company have its say.

It takes seconds where the solver takes minutes, and is where the solver begins.
"""

from collections.abc import Callable, Sequence
from time import monotonic

from allocator.model.board import Board, score_of
from allocator.model.company import Company
from allocator.model.first_fit import FirstFit
from allocator.model.holding_back import PutOff, hold_back, let_stay
from allocator.model.improving import is_large
from allocator.model.in_hand import answered, carried_on
from allocator.model.naming import Solution, trimmed
from allocator.model.option import EASY, EASY_PAID, FRUGAL, FRUGAL_PAID
from allocator.model.run import Found, Run
from allocator.model.settled import Score
from allocator.needs import Needs, with_held_back
from allocator.result import FoundBy, NoPlanInTime, Progress

SEED = 7

# Rounds in which some broods are taken out and settled anew; chosen by trying, see docs/explanation/speed.md.
ROUNDS_PER_BROOD = 3
ROUNDS_PER_BROOD_IN_COMPANY = 8
MOST_ROUNDS = 240
ROUNDS_OF_LARGE_ROOMS = 60
ROUNDS_WHILE_BADLY_OFF = 400
ROUNDS_WITH_WHAT_IS_LENT = 200
ROUNDS_SURELY_SHORT = 60
ROUNDS_TIMES_BROODS = 200_000
ROUNDS_TO_HOUSE = 40
ROUNDS_OF_COMPANY = 8
ROUNDS_ON_FROM_A_PLAN = 20
ROUNDS_OF_COMFORT = 150
ROUNDS_OF_THE_LAST = 60
SHARES_OF_ROUNDS = (0.1, 0.3, 0.6)
MOST_BROODS_FOR_A_SECOND_GO = 1000

ROUNDS_OF_A_BRIEF_LOOK = 40
HOPELESS = 6
"""With more broods than these without a home a brief look ends (judgement)."""
# What must be left to do in a large room, where the keeper gave a limit: in times that it takes to settle everybody
# once, and as a part of the whole time (judgement, from a farm and a large farm: company takes one or two such times,
# the checker half of one for each answer).
AFTER_WHAT_IS_THERE = (3.0, 0.5)
AFTER_WHAT_IS_ADDED = (1.5, 0.0)


def quick_plan(
    run: Run,
    added: dict[int, int],
    stage: str,
    begin: Found | None = None,
    *,
    paid: bool = False,
    brief: bool = False,
) -> Found:
    """Return a plan with what is there and so many vessels of each class more, as good as it gets quickly.

    Parameters
    ----------
    added
        How many vessels of each class may be added.
    stage
        What to call it in the live line.
    begin
        What is settled already, with fewer vessels.
    paid
        Whether the vessels that may be added are used as freely as those that are there.
    brief
        Whether to leave it at that, where the solver is to be asked in any case.

    Raises
    ------
    NoPlanInTime
        If the time ran out before everybody was settled once.
    """
    run.progress(Progress(stage=stage, seconds=monotonic() - run.started))
    fit = _gone_on(run, added, stage)
    carried = fit is not None
    most = ROUNDS_WITH_WHAT_IS_LENT if added and not paid else ROUNDS_WHILE_BADLY_OFF
    if fit is None or (_badly_off(fit, paid=paid) and not is_large(run)):
        on, fit = fit, _all_used(run, added) if paid else _settled(run, added, begin)
        _improve(run, fit, stage, _rounds(run))
        if _badly_off(fit, paid=paid):
            _improve(run, fit, stage, _more_rounds(run, added, most=most), while_badly_off=True)
        if on is not None and on.board.score().key()[:2] <= fit.board.score().key()[:2]:
            fit = on  # only for level 1 is a room turned over
    fit = in_company(run, fit)
    again = (not brief) and _badly_off(fit, paid=paid) and not run.tight(*_after(fit))
    again = again and not (
        carried and (not added or paid or answered(run, fit.board.score(), fit.board.added))
    )
    if again and len(run.needs.broods) <= MOST_BROODS_FOR_A_SECOND_GO:
        _improve(run, fit, stage, _more_rounds(run, added, most=most), while_badly_off=True)
        fit, agrees = _let_go(run, in_company(run, fit))
        if agrees is not None and _badly_off(fit, paid=paid):
            rounds = _more_rounds(run, added, ROUNDS_PER_BROOD_IN_COMPANY, most)
            _improve(run, fit, stage, rounds, while_badly_off=True, agrees=agrees)
    solution = trimmed(fit.needs, Solution(fit.board.solution(), added))
    return Found(
        fit.needs, solution, score_of(fit.needs, solution.added, solution.settled), FoundBy.FIRST_FIT
    )


def brief_plan(run: Run, stage: str) -> Found | None:
    """Return a plan that houses all with what is there; None where a brief look finds none, which proves nothing."""
    for thrift in (EASY, FRUGAL):
        fit = FirstFit(run.needs, {}, thrift)
        if fit.run(lambda: not run.over(), until_short=thrift is EASY):
            break
    else:
        return None
    lost = sum(settled.homeless is not None for settled in fit.board.settled.values())
    if 0 < lost <= HOPELESS:
        _improve(run, fit, stage, ROUNDS_OF_A_BRIEF_LOOK, while_badly_off=True)
    if not _badly_off(fit):
        fit = in_company(run, fit)
    if _badly_off(fit):
        return None
    solution = trimmed(fit.needs, Solution(fit.board.solution(), {}))
    return Found(fit.needs, solution, score_of(fit.needs, {}, solution.settled), FoundBy.FIRST_FIT)


def _let_go(run: Run, fit: FirstFit) -> tuple[FirstFit, PutOff | None]:
    """Return the same by the tables to begin with: sales are put off where company asks for it, and only there.

    The tables that company has changed keep a brood back for good, even where it lives in comfort later. None where it
    cannot be so.
    """
    free = fit.with_tables(run.needs)
    agrees = PutOff(free.board)
    return (free, agrees) if agrees() else (fit, None)


def in_company_as(run: Run, needs: Needs, solution: Solution, stage: str) -> tuple[Solution, Found]:
    """Return a solution of the solver, which knows of no company, made comfortable, and what company makes of that.

    Where sales can be put off as company wants it, the solution stays as it is: comfort comes later (`easing`). Else
    it is eased, since who lives in comfort is seldom held back; somebody may have no home in the end.
    """
    fit = FirstFit(needs, solution.added, EASY_PAID)
    fit.board.settle_as(solution.settled)
    eased = solution
    fit, agrees = _let_go(run, fit)
    if agrees is None:
        _improve(run, fit, stage, min(ROUNDS_OF_COMFORT, ROUNDS_PER_BROOD_IN_COMPANY * len(needs.broods)))
        eased = Solution(fit.board.solution(), solution.added)
        fit, agrees = _let_go(run, fit)
    if agrees is None:
        fit, agrees = _let_go(run, in_company(run, fit))
    if agrees is not None and _badly_off(fit, paid=True):
        _improve(run, fit, stage, ROUNDS_OF_THE_LAST, while_badly_off=True, agrees=agrees)
    borne = trimmed(fit.needs, Solution(fit.board.solution(), solution.added))
    score = score_of(fit.needs, borne.added, borne.settled)
    return eased, Found(fit.needs, borne, score, FoundBy.SOLVER)


def _badly_off(fit: FirstFit, *, paid: bool = False) -> bool:
    """Tell whether somebody has no home, or a vessel is added that is not paid for."""
    score = fit.board.score()
    return score.homeless_fish_days > 0 or (score.added_cost > 0 and not paid)


def _after(fit: FirstFit) -> tuple[float, float]:
    """Return what time is to be left to what comes after: see `Run.tight`."""
    nothing_to_add = fit.board.added or not fit.board.score().homeless_fish_days
    return AFTER_WHAT_IS_ADDED if nothing_to_add else AFTER_WHAT_IS_THERE


def _rounds(run: Run) -> int:
    if is_large(run):
        return ROUNDS_OF_LARGE_ROOMS
    return min(MOST_ROUNDS, ROUNDS_PER_BROOD * len(run.needs.broods))


def _more_rounds(
    run: Run,
    added: dict[int, int],
    per_brood: int = ROUNDS_PER_BROOD,
    most: int = ROUNDS_WHILE_BADLY_OFF,
) -> int:
    """Return how long to go on for those who are badly off: briefly where it is known that somebody is."""
    surely = not added and bool(run.short_on)
    broods = len(run.needs.broods)
    most = ROUNDS_SURELY_SHORT if surely else most
    return min(most, per_brood * broods, ROUNDS_TIMES_BROODS // max(broods, 1))


def _improve(
    run: Run,
    fit: FirstFit,
    stage: str,
    rounds: int,
    *,
    while_badly_off: bool = False,
    around: Sequence[int] = (),
    agrees: Callable[[], bool] | None = None,
) -> None:
    tell = run.tell(stage)

    def go_on(score: Score) -> bool:
        badly_off = score.homeless_fish_days or score.added_cost
        tell(float(score.homeless_fish_days or score.added_cost / 100), None)
        return not run.tight(*_after(fit)) and not (while_badly_off and not badly_off)

    fit.improve(rounds, SEED, go_on=go_on, around=around, agrees=agrees)


def _gone_on(run: Run, added: dict[int, int], stage: str) -> FirstFit | None:
    """Return what the plan in hand comes to today, with only those settled anew who do not fit, and their neighbours.

    None where there is no such plan.
    """
    if run.against is None:
        return None
    fit, anew = carried_on(run, added)
    if not fit.board.score().homeless_fish_days:
        if anew or not is_large(run):
            _settle_in(run, fit, stage, anew)
        return fit
    if answered(run, fit.board.score(), fit.board.added):
        _improve(run, fit, stage, ROUNDS_SURELY_SHORT, while_badly_off=True)
        return fit
    fit = _housed_by_turns(run, fit, stage)
    if not _badly_off(fit):
        _settle_in(run, fit, stage, fit.board.changed() or anew)
    return fit


def _settle_in(run: Run, fit: FirstFit, stage: str, around: Sequence[int]) -> None:
    """Look for comfort: in a large room for those who changed and their neighbours, in a small one for everybody."""
    if is_large(run):
        _improve(run, fit, stage, ROUNDS_ON_FROM_A_PLAN, around=around)
    else:
        _improve(run, fit, stage, _rounds(run))


def _housed_by_turns(run: Run, fit: FirstFit, stage: str) -> FirstFit:
    """Look for a home for everybody in three ways by turns, the first briefly: the best room, when one has housed all.

    One way settles anew who has no home, and neighbours. One puts them in vessels that could be added, and goes on until
    these are empty again, which often takes fewer rounds. One settles everybody anew, once.
    """
    most = {kind.index: kind.most for kind in run.needs.classes if kind.most}
    lent = None if fit.board.added or not most else carried_on(run, most)[0]
    rounds = _more_rounds(run, fit.board.added)
    best = fit
    for share in SHARES_OF_ROUNDS:
        if lent is not None:
            _improve(run, lent, stage, int(share * rounds), while_badly_off=True)
            if not _badly_off(lent):
                return lent.with_tables(lent.needs, fit.board.added)
        _improve(run, fit, stage, int(share * rounds), while_badly_off=True)
        if fit.board.score().homeless_fish_days and best is fit:
            best = _settled(run, fit.board.added, None)
            _improve(run, best, stage, int(share * rounds), while_badly_off=True)
        best = min(best, fit, key=lambda one: one.board.score().key())
        if not best.board.score().homeless_fish_days:
            break
    return best


def _settled(run: Run, added: dict[int, int], begin: Found | None) -> FirstFit:
    """Return everybody settled: in comfort if there is room, else frugally; or on from what is settled already."""
    tries: list[FirstFit] = []
    if begin is not None:
        if is_large(run):  # quick, but room is kept for company that added vessels might spare
            more = FirstFit(begin.needs, added, FRUGAL)
            more.go_on_from(begin.solution.settled)
            return more
        more = FirstFit(run.needs, added, FRUGAL)
        more.go_on_from(begin.solution.settled, anew=begin.needs.held_back)
        tries.append(more)
    easy, begun = FirstFit(run.needs, added, EASY), monotonic()
    if easy.run(lambda: not run.over(), until_short=is_large(run)):
        tries.append(easy)
        _note_pass(run, begun)
    if not tries or _badly_off(easy):
        frugal, begun = FirstFit(run.needs, added, FRUGAL), monotonic()
        if frugal.run(lambda: not run.over()):
            tries.append(frugal)
            _note_pass(run, begun)
    if not tries:
        raise NoPlanInTime
    return min(tries, key=lambda fit: fit.board.score().key())


def _note_pass(run: Run, begun: float) -> None:
    """Note how long it took to settle everybody in a large room."""
    if is_large(run):
        run.pass_seconds = monotonic() - begun


def _all_used(run: Run, added: dict[int, int]) -> FirstFit:
    """Return everybody settled as if the added vessels had always been there: in comfort if they do, else frugally."""
    for thrift in (EASY_PAID, FRUGAL_PAID):
        fit = FirstFit(run.needs, added, thrift)
        if fit.run(lambda: not run.over(), until_short=thrift is EASY_PAID):
            return fit
    raise NoPlanInTime


def in_company(run: Run, fit: FirstFit) -> FirstFit:
    """Settle anew whom company holds back for so long that the vessel is promised to others by then.

    Fish that stay for longer hold back others in turn, so it takes some rounds; what is left after them is seen
    to at the end (see `answer_of`). The rounds are quick, and are made even when the time is up.
    """
    after = _after(fit)
    company, spare = Company(), Board(fit.needs, fit.board.added)

    def later_than(solution: Solution) -> dict[str, int]:
        spare.settle_as(solution.settled)
        return company.held_back_on(spare)

    for number in range(ROUNDS_OF_COMPANY):
        solution = Solution(fit.board.solution(), fit.board.added)
        if not (late := company.held_back_on(fit.board)) or hold_back(fit.needs, solution, later_than, spare):
            break
        held = dict(fit.needs.held_back)
        held |= {name: held.get(name, 0) + days for name, days in late.items()}
        fit = fit.with_tables(with_held_back(fit.needs, held))
        let_stay(fit, late)
        if fit.board.score().homeless_fish_days > 0 and not run.tight(*after):
            if not is_large(run):
                fit = _better(fit, FirstFit(fit.needs, fit.board.added, fit.offers.thrift), run)
            fit.improve(
                min(ROUNDS_TO_HOUSE, ROUNDS_TIMES_BROODS // len(run.needs.broods) // 4),
                SEED + number,
                go_on=lambda best: best.homeless_fish_days > 0 and not run.tight(*after),
            )
    return fit


def _better(fit: FirstFit, anew: FirstFit, run: Run) -> FirstFit:
    """Return the better of what is settled and what comes of settling everybody anew."""
    done = anew.run(lambda: not run.over())
    return anew if done and anew.board.score().key() < fit.board.score().key() else fit
