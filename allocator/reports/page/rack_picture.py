"""A vessel in its rack: water as high as its share of room, and a fish as long as those in it."""

from markupsafe import Markup

from allocator.reports.page.drawing import num, svg
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
    """Return the picture of a vessel: its water (path `w` of the page), and the marks of the planning limit (`l`)."""
    full = HIGH - RIM
    breeding = bool(vessel.groups) and not vessel.lots
    share = 1.0 if breeding else min(vessel.share, (HIGH - 1.5) / full)
    if share <= 0:
        return Markup()
    kind = "br" if breeding else "ov" if vessel.share > 1 + EVEN else "wa"
    picture = svg("<use href=#w y={y}% class={kind} />", y=100 * (1 - full * share / HIGH), kind=kind)
    return picture if breeding else picture + Markup("<use href=#l />")


def fish_length(lot: LotShown) -> str:
    """Return the width of a lot's fish in letters' heights; empty for eggs."""
    return num(max(lot.mm, SHORTEST_MM) * EM_PER_MM) if lot.mm > 0 else ""


def percent(vessel: VesselShown) -> str:
    """Return `62 %`, or nothing where no share is known."""
    return f"{vessel.share * 100:.0f} %" if vessel.word else ""
