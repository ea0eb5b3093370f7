"""Pages to look at: the scenarios and an odd room, planned once a test run and laid out as the command does."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from allocator.asked import Answered, answered
from allocator.reports.page.facts import PageFacts
from allocator.reports.page.gather import page_facts
from allocator.reports.page.render import page_html

ROOT = Path(__file__).parent.parent
LONG = "x" * 40 + " " + "Wort" * 9 + "end"
HEBREW = "דג 🐠"
FORMULA = "=cmd|' /C calc'!A0"
EMOJI = '🐟🐟 " onload='
ODD_ROOM = f"""\
fish_room: "<script>alert('x')</script> & \\"room\\" מיכל"
today: 2027-01-02
keeper: {{move_days: [saturday], most_moves_a_day: 4}}
racks:
  - name: "rack </style><b>"
    shelves:
      - {{name: "שלום"}}
      - {{name: "{LONG}"}}
vessels:
  - {{name: "<b>box", copies: 2, kind: hatchery, inside: 20 x 12 cm, water_depth: 10 cm, flow: [still, gentle],
     snail_free: true, place: {{rack: "rack </style><b>", shelf: "שלום"}}}}
  - {{name: "מיכל", copies: 2, kind: rearing, inside: 50 x 25 cm, water_depth: 27 cm, flow: [still, normal],
     filter: sponge filter, place: {{rack: "rack </style><b>", shelf: "{LONG}"}}}}
  - {{name: "{LONG}", kind: grow-out, inside: 90 x 45 cm, water_depth: 36 cm, flow: [gentle, strong],
     filter: box filter}}
lines:
  - {{name: '{EMOJI}', species: Melanotaenia lacustris, rules: rainbowfish-large}}
broods:
  - {{name: "{FORMULA}", line: '{EMOJI}', collected: 2027-01-02, eggs: 30, lives_in: "<b>box 1"}}
  - {{name: "{LONG}", line: '{EMOJI}', collected: 2027-01-09, eggs: 30}}
  - {{name: "{HEBREW}", line: '{EMOJI}', collected: 2027-02-06, eggs: 30}}
"""
"""Names that a page, a spreadsheet or a line of text could stumble over."""

ALL = ("tiny", "too-few", "club-room", "odd")
"""Two scenarios, the smallest with a box too few, and the odd room."""


@cache
def answer_of(name: str) -> Answered:
    """Return the plan of a room."""
    scenario = ROOT / "scenarios" / f"{name}.yaml"
    if scenario.is_file():  # where its packs are
        return answered(scenario, None, None, None)
    with TemporaryDirectory() as folder:
        room = Path(folder) / "room.yaml"
        room.write_text(_text(name), encoding="utf-8")
        return answered(room, None, None, None)


@cache
def facts_of(name: str) -> PageFacts:
    """Return what the page of a room shows."""
    answer = answer_of(name)
    assert answer.result is not None
    return page_facts(answer.room, answer.plan, result=answer.result, gallon=answer.reading.gallon)


@cache
def page_of(name: str) -> str:
    """Return the page of a room."""
    return page_html(facts_of(name))


def _text(name: str) -> str:
    if name == "odd":
        return ODD_ROOM
    assert name == "too-few"
    tiny = (ROOT / "scenarios" / "tiny.yaml").read_text(encoding="utf-8")
    tiny = tiny.replace("name: box, copies: 2", "name: box").replace("box 1", "box")
    return tiny + "could_add: [{like: box, price: 8, most: 2}]\n"
