"""A vessel in its rack: water as high as its share of room, and a fish as long as those in it."""

from markupsafe import Markup

from allocator.reports.page.drawing import attributes, num, svg
from allocator.reports.page.facts import LotShown, VesselShown
from allocator.reports.where import EVEN

HIGH = 50.0
RIM = 6.0
"""Above the planning limit there is some glass left, so that a vessel that is too full can be told."""

EM_PER_MM = 0.05
"""How long a fish is drawn, in letters' heights a millimetre: all to one scale."""

SHORTEST_MM = 7.0
"""Shorter fish could not be seen."""


def water(vessel: VesselShown) -> Markup:
    """Return the picture of a vessel's water (path `w` of the page): as high as the share, or full of a group."""
    full = HIGH - RIM
    share = 1.0 if breeding(vessel) else min(vessel.share, (HIGH - 1.5) / full)
    if share <= 0:
        return Markup()
    level = 100 * (1 - full * share / HIGH)
    kind = {"class_": "ov"} if vessel.share > 1 + EVEN else {}
    return svg("<use href=#w{those} />", those=attributes(y=f"{num(level)}%", **kind))


def breeding(vessel: VesselShown) -> bool:
    """Tell whether a breeding group has a vessel to itself."""
    return bool(vessel.groups) and not vessel.lots


def fish_length(lot: LotShown) -> str:
    """Return the width of a lot's fish in letters' heights; empty for eggs."""
    return num(max(lot.mm, SHORTEST_MM) * EM_PER_MM) if lot.mm > 0 else ""


def percent(vessel: VesselShown) -> str:
    """Return `62 %`, or nothing where no share is known."""
    return f"{vessel.share * 100:.0f} %" if vessel.word else ""
