"""Vessels without water: bags and tubs of damp peat, in which the eggs of annual fish wait."""

from allocator.room import Room, Vessel
from allocator.rules import VesselKind


def holds_water(vessel: Vessel) -> bool:
    """Tell whether a vessel holds water: one that is for eggs in peat and for nothing else does not."""
    return set(vessel.kinds) != {VesselKind.EGG_STORE}


def may_hold_water(room: Room, vessel: str | None) -> bool:
    """Tell the same of a vessel by name; one that the room does not know is taken to hold some."""
    known = room.vessel_named.get(vessel or "")
    return known is None or holds_water(known)
