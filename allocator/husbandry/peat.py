"""Vessels without water: bags and tubs of damp peat, in which the eggs of annual fish wait."""

from allocator.room import Vessel
from allocator.rules import VesselKind


def holds_water(vessel: Vessel) -> bool:
    """Tell whether a vessel holds water: one that is for eggs in peat and for nothing else does not."""
    return set(vessel.kinds) != {VesselKind.EGG_STORE}
