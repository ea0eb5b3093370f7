"""The sheets of a room's workbook: which column holds which key of the room file."""

from dataclasses import dataclass
from enum import StrEnum

from allocator.reading.packs import shipped_packs
from allocator.reading.shape import FLOW_WORDS, FilterKind, GallonKind, Take
from allocator.room import CollectedBy
from allocator.rules import Estimate, GrowthPace, VesselKind
from allocator.units import WEEKDAYS

Path = tuple[str | int, ...]


class Holds(StrEnum):
    """What the cells of a column hold."""

    TEXT = "text"
    NUMBER = "number"
    DAY = "date"
    TRUTH = "yes or no"


@dataclass(frozen=True)
class Column:
    """A column: its heading, the key that it stands for, and what to write.

    `choices` are the words of a drop-down list; `chosen_from` is a sheet whose names are offered instead, or
    "vessels one by one". `many` columns may stand several times, one thing in each.
    """

    heading: str
    path: Path
    note: str
    example: str
    holds: Holds = Holds.TEXT
    choices: tuple[str, ...] = ()
    chosen_from: str = ""
    only_these: bool = True
    many: bool = False

    @property
    def help(self) -> str:
        """What to write, with the words that there are to choose from."""
        words = "One of" if self.only_these else "Shipped are"
        return f"{self.note} {words}: {', '.join(self.choices)}." if self.choices else self.note


@dataclass(frozen=True)
class Under:
    """Where the rows of a sheet belong: to the item of a section that a column names, under a key of it.

    With `keyed_by` they are keys and values (by that column), else a list. With `makes` an item is made of its
    name alone, and needs no row in a sheet of its own.
    """

    section: str
    heading: str
    key: str
    keyed_by: str = ""
    makes: bool = False


@dataclass(frozen=True)
class Layout:
    """A sheet. Its rows are the list at `path`, or belong to the items of another sheet."""

    title: str
    about: str
    columns: tuple[Column, ...]
    path: Path = ()
    under: Under | None = None


def _words(kind: type[StrEnum]) -> tuple[str, ...]:
    return tuple(member.value for member in kind)


N, D, T = Holds.NUMBER, Holds.DAY, Holds.TRUTH
KINDS, BY, TAKE = _words(VesselKind), _words(CollectedBy), _words(Take)
FLOW, FILTERS, YES_NO = tuple(FLOW_WORDS), _words(FilterKind), ("yes", "no")
ONE_BY_ONE = "vessels one by one"
ROOM, NOTES, LISTS = "room", "notes", "lists"
NOT_READ = (NOTES, LISTS)
"""Sheets that are ours and hold nothing of the room."""
NOT_READ_COLUMN = "notes"
"""A column for the keeper's own words in any sheet."""

ALWAYS = "always"
"""Instead of a first day: this copy can always be used, whatever is said of the others."""
AVAILABLE = "available"
AVAILABLE_FROM: Path = (AVAILABLE, "from")

WATER = (
    Column("temperature c", ("conditions", "temperature_c"), "In degrees Celsius.", "25", N),
    Column("ph", ("conditions", "ph"), "As measured.", "7.4", N),
    Column(
        "water change percent",
        ("conditions", "water_change_percent"),
        "Percent of the water, each time.",
        "25",
        N,
    ),
    Column("water change days", ("conditions", "water_change_days"), "Days between changes.", "7", N),
)
BUILD = (
    Column("weakest flow", ("flow", 0), "The weakest that it can be set to.", "still", choices=FLOW),
    Column("strongest flow", ("flow", 1), "The strongest; empty: the only one.", "normal", choices=FLOW),
    Column("filter", ("filter", "kind"), "What cleans the water.", "sponge filter", choices=FILTERS),
    Column("filter feed g per day", ("filter", "feed_g_per_day"), "Dry feed it deals with.", "4", N),
    Column("filter since", ("filter", "since"), "The day on which a new one began to run.", "2027-01-02", D),
    Column("snail free", ("snail_free",), "Are there no snails?", "yes", T, YES_NO),
)
PLACE = (
    Column("available from", AVAILABLE_FROM, "First day it can be used, or: always.", "2027-02-06", D),
    Column("available until", ("available", "until"), "The day on which it is gone.", "2027-05-01", D),
    Column("rack", ("place", "rack"), "As in the sheet shelves.", "back wall"),
    Column("shelf", ("place", "shelf"), "As in the sheet shelves.", "top"),
)

COLLECTED = (
    Column("eggs", ("eggs",), "How many are expected, or there were.", "30", N),
    Column("laid over days", ("laid_over_days",), "Days on which they were laid; empty: one.", "1", N),
    Column("take", ("take",), "Raised always, or only if it fits.", "always", choices=TAKE),
    Column("priority", ("priority",), "Of those taken if they fit, higher ones first.", "2", N),
)
HOW = Column("by", ("by",), "Picked eggs, a whole mop, or young.", "picking", choices=BY)

SHEETS = (
    Layout(
        ROOM,
        "The room and its keeper: one thing a row. Several move days: one row each.",
        (
            Column("fish room", ("fish_room",), "What you call it.", "My fish room"),
            Column("gallon", ("gallon",), "What a bare gallon means.", "us", choices=_words(GallonKind)),
            Column("today", ("today",), "Plan from this day; empty: the day on the clock.", "2027-01-09", D),
            Column(
                "move days",
                ("keeper", "move_days"),
                "A day on which you move fish.",
                "saturday",
                choices=WEEKDAYS,
                many=True,
            ),
            Column("most moves a day", ("keeper", "most_moves_a_day"), "Empty: any number.", "6", N),
            Column(
                "survival",
                ("keeper", "plan_on", "survival"),
                "Which end of the figures to plan on.",
                "expected",
                choices=_words(Estimate),
            ),
            Column(
                "growth",
                ("keeper", "plan_on", "growth"),
                "Which curve to plan on.",
                "typical",
                choices=_words(GrowthPace),
            ),
            *WATER,
        ),
    ),
    Layout(
        "away",
        "Days on which you are away and nothing is moved or collected.",
        (
            Column("from", ("from",), "The first day away.", "2027-04-03", D),
            Column("until", ("until",), "The day on which you are back.", "2027-04-18", D),
        ),
        path=("keeper", "away"),
    ),
    Layout(
        "shelves",
        "Where things stand, if you want the weight of each shelf.",
        (
            Column("rack", (), "The rack.", "back wall"),
            Column("shelf", ("name",), "One of its shelves.", "top"),
            Column("rated kg", ("rated_kg",), "What its maker says it carries, in kg.", "150", N),
        ),
        under=Under("racks", "rack", "shelves", makes=True),
    ),
    Layout(
        "vessels",
        "Everything that holds fish. Several copies are named with a number: box 1, box 2.",
        (
            Column("name", ("name",), "What stands on its label.", "ten"),
            Column("copies", ("copies",), "How many of them; empty: one.", "6", N),
            Column("kind", ("kind",), "What it is for.", "rearing", choices=KINDS),
            Column(
                "also for",
                ("also_for",),
                "What else it may be used for.",
                "grow-out",
                choices=KINDS,
                many=True,
            ),
            Column(
                "inside", ("inside",), "Length x width inside the glass, with cm, mm or in.", "50 x 25 cm"
            ),
            Column("water depth", ("water_depth",), "Depth of the water, with its unit.", "27 cm"),
            Column("water", ("water",), "Or how much water: l, US gal or imperial gal.", "34 l"),
            *BUILD,
            *WATER,
            *PLACE,
            Column("empty weight kg", ("empty_weight_kg",), "Without water, in kg.", "5", N),
        ),
        path=("vessels",),
    ),
    Layout(
        "single copies",
        "What is different about one of several copies.",
        (
            Column(
                "vessel", (), "Its name in the sheet vessels, without a number.", "ten", chosen_from="vessels"
            ),
            Column("copy", ("copy",), "The number of the copy.", "3", N),
            Column("water depth", ("water_depth",), "Depth of the water, with its unit.", "20 cm"),
            *BUILD,
            *WATER,
            *PLACE,
        ),
        under=Under("vessels", "vessel", "except"),
    ),
    Layout(
        "lines",
        "One row for each species and locality or strain.",
        (
            Column("name", ("name",), "What you call the line.", "blue"),
            Column("species", ("species",), "Its scientific name.", "Melanotaenia lacustris"),
            Column(
                "rules",
                ("rules",),
                "A shipped pack, or a file of your own beside this workbook.",
                "rainbowfish-large",
                choices=tuple(shipped_packs()),
                only_these=False,
            ),
            Column(
                "may share with",
                ("may_share_with",),
                "A line that may live with it; another column of this name for another one.",
                "red",
                chosen_from="lines",
                many=True,
            ),
        ),
        path=("lines",),
    ),
    Layout(
        "own figures",
        "Your own figure in place of one of the rules.",
        (
            Column("line", (), "The line whose rules are changed.", "blue", chosen_from="lines"),
            Column("figure", (), "Its name, as `allocator rules` prints it.", "sale_mm"),
            Column("value", ("value",), "A number in the figure's unit, or a flow setting.", "50", N),
            Column("why", ("why",), "Your reason.", "the club takes them at 50 mm"),
        ),
        under=Under("lines", "line", "change", keyed_by="figure"),
    ),
    Layout(
        "groups",
        "Pairs, trios and colonies.",
        (
            Column("name", ("name",), "What you call the group.", "blue trio"),
            Column("line", ("line",), "Its line.", "blue", chosen_from="lines"),
            Column("males", ("males",), "How many.", "1", N),
            Column("females", ("females",), "How many.", "2", N),
            Column(
                "lives in", ("lives_in",), "The vessel, with its number.", "breeder", chosen_from=ONE_BY_ONE
            ),
            Column("from", ("from",), "Its first day there; empty: it is there.", "2026-11-01", D),
            Column("until", ("until",), "The day on which it leaves; empty: it stays.", "2027-06-01", D),
        ),
        path=("breeding_groups",),
    ),
    Layout(
        "collections",
        "What you mean to collect: on the first day, then every so many days.",
        (
            Column("group", (), "The breeding group.", "blue trio", chosen_from="groups"),
            HOW,
            Column("every", ("every",), "Days from one to the next; empty: only once.", "2 weeks", N),
            Column("from", ("from",), "The first day.", "2027-01-16", D),
            Column("until", ("until",), "The last day, included.", "2027-03-13", D),
            *COLLECTED,
            Column("label", ("label",), "What the broods are called, before the day.", "B"),
        ),
        under=Under("breeding_groups", "group", "collect"),
    ),
    Layout(
        "broods",
        "What is there today, and single broods still to come.",
        (
            Column("name", ("name",), "What stands on its label.", "B1"),
            Column("line", ("line",), "Its line.", "blue", chosen_from="lines"),
            Column("collected", ("collected",), "The day.", "2026-12-05", D),
            HOW,
            *COLLECTED,
            Column(
                "parents", ("parents",), "The breeding group, if you know.", "blue trio", chosen_from="groups"
            ),
            Column(
                "lives in",
                ("lives_in", 0, "vessel"),
                "The vessel, with its number; several: in the sheet homes.",
                "box 1",
                chosen_from=ONE_BY_ONE,
            ),
            Column("since", ("since",), "The day on which it came there.", "2026-12-05", D),
        ),
        path=("broods",),
    ),
    Layout(
        "homes",
        "Broods that live in several vessels: one row for each.",
        (
            Column("brood", (), "The brood.", "B1", chosen_from="broods"),
            Column("vessel", ("vessel",), "The vessel, with its number.", "ten 1", chosen_from=ONE_BY_ONE),
            Column("fish", ("fish",), "How many live there; empty: shared out evenly.", "12", N),
        ),
        under=Under("broods", "brood", "lives_in"),
    ),
    Layout(
        "counts",
        "What was really counted and measured.",
        (
            Column("brood", (), "The brood.", "B1", chosen_from="broods"),
            Column("on", ("on",), "The day.", "2027-01-09", D),
            Column("fish", ("fish",), "How many there were.", "16", N),
            Column("mm", ("mm",), "Mean total length, in mm.", "10", N),
        ),
        under=Under("broods", "brood", "counted"),
    ),
    Layout(
        "could add",
        "What you could buy or put up: like a vessel that is there.",
        (
            Column("like", ("like",), "The vessel that it is like.", "long", chosen_from="vessels"),
            Column("price", ("price",), "Of one, in your own money.", "120", N),
            Column("most", ("most",), "How many at most.", "2", N),
        ),
        path=("could_add",),
    ),
    Layout(
        "pins",
        "What must be so, whatever the plan: in, not in, or move on.",
        (
            Column("brood", ("brood",), "The brood.", "B1", chosen_from="broods", only_these=False),
            Column("in", ("in",), "It is in this vessel.", "ten 3", chosen_from=ONE_BY_ONE),
            Column("not in", ("not_in",), "It is not in this vessel.", "ten 1", chosen_from=ONE_BY_ONE),
            Column("move on", ("move_on",), "It is moved on this day.", "2027-01-30", D),
            Column("from", ("from",), "Since when.", "2027-02-06", D),
            Column("until", ("until",), "Until which day, not included.", "2027-03-01", D),
        ),
        path=("pins",),
    ),
    Layout(
        "orders",
        "Fish that you have promised for a day; their broods are kept until then.",
        (
            Column("name", ("name",), "For whom, or for what.", "club show"),
            Column("fish", ("fish",), "How many.", "12", N),
            Column("on", ("on",), "The day.", "2027-11-06", D),
            Column(
                "from",
                ("from",),
                "A brood that is kept for it; another column of this name for another one.",
                "B1",
                chosen_from="broods",
                only_these=False,
                many=True,
            ),
        ),
        path=("orders",),
    ),
)

TITLES = tuple(layout.title for layout in SHEETS)


def normal(text: object) -> str:
    """Return a heading or a title as it is compared: small letters, single spaces, no underscores."""
    return " ".join(str(text).replace("_", " ").lower().split())
