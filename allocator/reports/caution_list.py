"""All cautions: what each says, in which situation and by which command it is printed, and what it rests on.

A caution more is one row in `CAUTIONS`. A situation more is a member of `Situation`, and a function in
`cautions.py` that recognises it (or a caller that knows of it). Cautions give no doses and judge nothing: they
hand over to labels, local codes and qualified people.
"""

from enum import StrEnum

from allocator.frozen import Frozen
from allocator.reports.words import length_words
from allocator.rules import Evidence

FRY_MM = 9.0
"""Fish shorter than this are poured, not netted. Common practice; the figure itself is from memory."""

SPECIES = "{species}"
"""Stands in a text for the species of the room."""


class Page(StrEnum):
    """What prints cautions, by the name of its command."""

    PLAN = "plan"
    MOVES = "moves"
    WHERE = "where"
    TANKS = "tanks"
    WATER = "water"


class Situation(StrEnum):
    """When a caution applies, in the words of the reference page.

    The days are those that are printed: the whole plan, or the days that were asked for.
    """

    FISH = "fish or eggs are in the room"
    MAINS = "a vessel has a filter or moving water"
    AIR = "two or more vessels of one rack (or of those in no rack) have a filter or moving water"
    EGGS = "eggs are in the room"
    PICKED = "picked eggs are set up"
    FRY = f"fish shorter than {length_words(FRY_MM)} are moved"
    LINES = "fish of two or more lines are set up, moved or sold"
    SPAWN = "a brood is still to be collected"
    HOMELESS = "fish have no home, in this plan or with nothing added"
    SOLD = "fish are sold"
    LIFTING = "a vessel is added, comes or goes"
    SHELVES = "a vessel stands in a rack or on a shelf"
    VESSELS = "there are vessels"


class Caution(Frozen):
    """One caution.

    Attributes
    ----------
    key
        Short stable name.
    situation
        When it applies.
    pages
        Which commands print it then.
    text
        What is printed: three lines at most.
    evidence, source
        What it rests on, and what of that was read.
    """

    key: str
    situation: Situation
    pages: tuple[Page, ...]
    text: str
    evidence: Evidence
    source: str


CAUTIONS = (
    Caution(
        key="limits",
        situation=Situation.FISH,
        pages=(Page.PLAN, Page.WHERE),
        text="Limits are for planning and are not targets: what a water test says comes before what the plan "
        "says.",
        evidence=Evidence.COMMON,
        source="A test measures the water itself; the plan knows nothing of it. What the limits rest on stands "
        "in the rule packs, figure by figure.",
    ),
    Caution(
        key="mains",
        situation=Situation.MAINS,
        pages=(Page.PLAN, Page.MOVES, Page.WATER),
        text="Water and mains: unplug heaters, pumps and lamps before hands or nets go in, hang every cord in "
        "a loop below its socket, use a residual-current device (GFCI or RCD); new circuits: by a "
        "licensed electrician, to your local code.",
        evidence=Evidence.COMMON,
        source="Keepers' pages on mains and water agree (several read); the text of no code was read. The room "
        "file does not tell of heaters and lamps: with neither filter nor moving water this is not printed, "
        "and is just as true.",
    ),
    Caution(
        key="air",
        situation=Situation.AIR,
        pages=(Page.PLAN,),
        text="One tripped switch can stop the air for a whole rack: an alarm and an air pump on a battery "
        "cover for it.",
        evidence=Evidence.COMMON,
        source="What keepers of racks do. The room file does not say which pump feeds what, so vessels of one "
        "rack are taken to hang on one switch.",
    ),
    Caution(
        key="medicated eggs",
        situation=Situation.EGGS,
        pages=(Page.PLAN, Page.MOVES, Page.WHERE),
        text="If you medicate eggs: in a container of its own without the filter, with gloves, as the maker's "
        "label says. Never mix chemicals, discard what is old or cloudy, and dispose of it as your local rules "
        "ask.",
        evidence=Evidence.COMMON,
        source="What keepers do: dyes and disinfectants also harm what lives in a filter. About formalin with a "
        "white sediment sources differ: Howe et al. 1995, Prog. Fish-Cult. 57:147-152 (abstract) found a "
        "moderate one no more toxic, older advice discards it; hence the more careful of the two. No doses "
        "here: they are on the label, and what is allowed differs from place to place.",
    ),
    Caution(
        key="picking eggs",
        situation=Situation.PICKED,
        pages=(Page.MOVES,),
        text="Picking eggs: with clean wet hands or tools, kept wet, into water like that they come from.",
        evidence=Evidence.COMMON,
        source="What keepers do; no trial was read.",
    ),
    Caution(
        key="small fry",
        situation=Situation.FRY,
        pages=(Page.PLAN, Page.MOVES),
        text=f"Small fry: pour or cup fish under {length_words(FRY_MM)} with their water, never net them, and handle "
        "them no more often than you must.",
        evidence=Evidence.COMMON,
        source="What keepers do; the length is from memory and no trial was read.",
    ),
    Caution(
        key="pure lines",
        situation=Situation.LINES,
        pages=(Page.MOVES,),
        text="Lines: label every vessel, and sell no fish under a name that is in doubt: young fish and females "
        "of many lines look alike, and some lines cross.",
        evidence=Evidence.COMMON,
        source="A fish club's page says that the forms of Melanotaenia splendida are not easily told apart "
        "(read). Crosses in the family are listed by a rainbowfish society after Allen & Cross 1982, Zhu et al. "
        "1994 and 1998 and McGuigan et al. 2000 (the list was read, those papers were not).",
    ),
    Caution(
        key="nets",
        situation=Situation.LINES,
        pages=(Page.MOVES,),
        text="Nets, siphons and wet hands carry disease, and stray eggs and fry, from tank to tank: clean and "
        "dry them between lines, wash hands, and keep new fish apart before they join.",
        evidence=Evidence.COMMON,
        source="What keepers do; no trial was read.",
    ),
    Caution(
        key="before a spawn",
        situation=Situation.SPAWN,
        pages=(Page.PLAN,),
        text="Before eggs are collected: settle who takes the fish, and what becomes of the unfit and of those "
        "that nobody takes.",
        evidence=Evidence.COMMON,
        source="Welfare: what keepers do. How fish may be killed is a matter of your local rules and of a vet.",
    ),
    Caution(
        key="homeless",
        situation=Situation.HOMELESS,
        pages=(Page.PLAN, Page.TANKS),
        text="Fish without a home: do not start what cannot be housed. Leave out a collection, or have a taker "
        "agreed before the eggs are set up, and release none.",
        evidence=Evidence.COMMON,
        source="Welfare: what keepers do.",
    ),
    Caution(
        key="selling",
        situation=Situation.SOLD,
        pages=(Page.PLAN, Page.MOVES),
        text="Keeping, breeding, selling or sending these fish, and their young, can be restricted or need a "
        f"permit where you live: ask your own authority; this is not legal advice. In this room: {SPECIES}.",
        evidence=Evidence.PUBLISHED,
        source="Notices of Australian federal and state authorities: the list of live imports covers the young "
        "as well, and the Queensland Fisheries Act, s. 90 and 91, covers possession; California's regulation "
        "s. 671 on restricted species and permits (read). Two places of many, and law changes: only your own "
        "authority's word counts, on moving fish across borders too.",
    ),
    Caution(
        key="release",
        situation=Situation.SOLD,
        pages=(Page.PLAN, Page.MOVES),
        text="Never release fish, eggs, plants or tank water outdoors, and tell the buyer.",
        evidence=Evidence.PUBLISHED,
        source="Notices of Australian federal and state authorities (read); telling the buyer is common practice.",
    ),
    Caution(
        key="lifting",
        situation=Situation.LIFTING,
        pages=(Page.PLAN, Page.MOVES, Page.TANKS),
        text="Setting up or taking away a vessel: never move it filled, not even in part; drain it first, unplug "
        "it, and have help with the lifting.",
        evidence=Evidence.COMMON,
        source="What keepers do: water shifts, and glass held up at one end cracks. Follow the maker's own words.",
    ),
    Caution(
        key="shelves",
        situation=Situation.SHELVES,
        pages=(Page.PLAN, Page.TANKS),
        text="Shelves: the sum says nothing about whether a shelf will hold it. Compare it with the evenly "
        "spread load that the maker states with all shelves full, keep heavy tanks low, fix racks to the wall.",
        evidence=Evidence.COMMON,
        source="Articles on shelving (read): what counts is the load for each shelf, evenly spread; rims and "
        "feet of tanks press on lines and points; racks that are heavy on top tip over. The load is the one "
        "you wrote into the room file (`rated_kg`).",
    ),
    Caution(
        key="floor",
        situation=Situation.VESSELS,
        pages=(Page.PLAN, Page.TANKS),
        text="Floors: have floor, joists and supports judged by a qualified person. Design figures are for a "
        "load spread over a whole room, and a rack stands on a small part of it; your local building code "
        "decides.",
        evidence=Evidence.PUBLISHED,
        source="International Residential Code, table R301.5 (R301.4 in 2000): least design loads for whole rooms, "
        "evenly spread (as transcribed in an interpretation of the 2000 table). That joists, span and supports "
        "matter, and that a qualified person must judge: an article by a structural engineer (read).",
    ),
)
"""In the order in which they are printed."""
