"""Whether a brood finds a home in the usual tanks through every stage of a rule pack.

A pack can be sound figure by figure and still leave fish nowhere to go: rows that ask for a longer tank before the stage
that has one may be entered, or a current that no vessel of that stage can be set so low as.
"""

from collections.abc import Iterator
from itertools import pairwise

from allocator.husbandry.stages import may_follow
from allocator.husbandry.stocking import SUMMED_CAPS, flow_step, shares_of_one
from allocator.reading.pack_fault import Fault
from allocator.room import Vessel
from allocator.rules import FlowSetting, RulePack, VesselKind
from allocator.units import DUST

BROOD_FISH = 30
"""A usual brood: what is left of about fifty eggs after the first days. Common practice, rounded."""

JUST_BELOW = 1 - 1e-9
HINT = "widen the caps, the flow or the window of the stage after it; vessels of your own may do"

SMALL = (VesselKind.HATCHERY, VesselKind.EGG_STORE)
MIDDLE = (VesselKind.REARING, VesselKind.BREEDING)
LONG = (VesselKind.GROW_OUT, VesselKind.BREEDING)

INSIDE_CM: tuple[tuple[str, tuple[float, float, float], tuple[VesselKind, ...]], ...] = (
    # Inside length and width, depth of water. Boxes: common practice, tubs of 2 to 5 litres.
    ("box of 2.4 litres", (20, 12, 10), SMALL),
    ("box of 4 litres", (25, 16, 10), SMALL),
    # Tanks by their usual outside size in inches (common practice: 20 x 10 x 12 for ten US gallons, 30 x 12 x 12
    # for a twenty long, 36 x 18 x 16 for a forty breeder), less the glass, filled to 2 or 3 cm below the rim.
    ("ten gallons", (50, 25, 27), MIDDLE),
    ("fifteen gallons", (60, 30, 27), MIDDLE),
    ("twenty high", (60, 30, 37), MIDDLE),
    ("twenty long", (75, 30, 28), (*MIDDLE, VesselKind.GROW_OUT)),
    ("thirty breeder", (91, 46, 25), LONG),
    ("forty breeder", (91, 46, 31), LONG),
    ("forty long", (121, 30, 36), LONG),
    ("seventy-five gallons", (121, 45, 46), LONG),
)

FLOW = {
    VesselKind.HATCHERY: (FlowSetting.STILL, FlowSetting.GENTLE),
    VesselKind.REARING: (FlowSetting.STILL, FlowSetting.NORMAL),
    VesselKind.GROW_OUT: (FlowSetting.GENTLE, FlowSetting.STRONG),
}
"""What a vessel can be set to: an air stone, a sponge filter, a box or power filter. Common practice."""


def usual_vessels() -> tuple[Vessel, ...]:
    """Return the usual tanks, filtered but for the boxes."""
    return tuple(
        Vessel(
            name=name,
            declared_as=name,
            kinds=kinds,
            length_mm=length * 10,
            width_mm=width * 10,
            depth_mm=depth * 10,
            flow_lowest=FLOW[kinds[0]][0],
            flow_highest=FLOW[kinds[0]][1],
            filtered=kinds is not SMALL,
        )
        for name, (length, width, depth), kinds in INSIDE_CM
    )


VESSELS = usual_vessels()


def home_faults(pack: RulePack) -> Iterator[Fault]:
    """Yield the length at which a usual brood is first without a home. Stages must be sound."""
    if not _has_home(pack, 0, 0.0):
        yield _homeless(pack, 0, 0.0)
        return
    here = {0}
    for begin, end in pairwise(_marks(pack)):
        reached = here | {
            number for number in range(len(pack.stages)) if _may_enter(pack, here, number, begin)
        }
        # Fish are heaviest, and a step of caps still holds, just before the next mark.
        housed = {number for number in reached if _has_home(pack, number, end * JUST_BELOW)}
        if not housed:
            yield _homeless(pack, max(reached), begin)
            return
        here = housed
    if not any(all(stage.may_skip for stage in pack.stages[number + 1 :]) for number in here):
        name = pack.stages[max(here) + 1].name
        yield Fault(
            f"stages.{name}",
            f"cannot be reached: in no usual tank do {BROOD_FISH} fish live until they may move in",
            HINT,
            mild=True,
        )


def _may_enter(pack: RulePack, here: set[int], number: int, mm: float) -> bool:
    stage = pack.stages[number]
    long_enough = stage.from_mm is None or stage.from_mm.value <= mm
    in_time = stage.until_mm is None or mm <= stage.until_mm.value
    return long_enough and in_time and any(may_follow(pack, before, number) for before in here)


def _marks(pack: RulePack) -> list[float]:
    """Return the lengths, from hatch to sale, at which a cap, a flow or a window changes."""
    first, last = pack.hatch_mm.value, pack.sale_mm.value
    steps = [step.from_mm.value for steps in (pack.room, pack.flow) for step in steps]
    windows = [
        figure.value
        for stage in pack.stages
        for figure in (stage.from_mm, stage.until_mm)
        if figure is not None
    ]
    return [first, *sorted({mm for mm in (*steps, *windows) if first < mm < last}), last]


def _has_home(pack: RulePack, number: int, mm: float) -> bool:
    return any(not _against(pack, number, mm, vessel) for vessel in VESSELS)


def _against(pack: RulePack, number: int, mm: float, vessel: Vessel) -> list[str]:
    """Return what speaks against keeping a brood of a length in a vessel in a stage; nothing: a home."""
    if not set(pack.stages[number].kinds) & set(vessel.kinds):
        return ["kind"]
    against = ["flow"] if vessel.flow_lowest > flow_step(mm, pack).limit.value else []
    for cap, (_, share) in shares_of_one(mm, vessel, pack).items():
        if share * (BROOD_FISH if cap in SUMMED_CAPS else 1) > 1:
            against.append(cap.value)
    return against


def _homeless(pack: RulePack, number: int, mm: float) -> Fault:
    just_after = mm * (1 + DUST)
    # Of equally good vessels the largest says best what is in the way.
    kept = [_against(pack, number, just_after, vessel) for vessel in reversed(VESSELS)]
    reasons = min((found for found in kept if found != ["kind"]), key=len, default=["kind of vessel"])
    young = f"fish of {mm:g} mm" if mm else "eggs"
    why = ", ".join(reasons) or "they outgrow it"
    return Fault(
        f"stages.{pack.stages[number].name}",
        f"leaves {BROOD_FISH} {young} without a home in any usual tank ({why})",
        HINT,
        mild=True,
    )
