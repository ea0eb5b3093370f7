"""Made-up room files in any layout a keeper may choose, and a plan in hand cut off at a later day."""

from datetime import timedelta
from random import Random
from typing import Any

from random_rooms import random_room

from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import lives
from allocator.plan import FlowChange, Plan, Stay, Verdict
from allocator.room import Room
from allocator.rules import FlowSetting
from allocator.workbook.room_text import inline

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
PACKS = ("rainbowfish-large", "rainbowfish-small", "blue-eye", "zebrafish", "annual-killifish", "threadfin")
ODD_NAMES = ("1E2", "=x", "007", "a: b", "# no", "- dash", "Größe 3", "don't", 'so "called"', "{x}", "חדש")


def room_data(seed: int) -> dict[str, Any]:
    """Return the plain data of a room file: a random room of shipped packs, with groups that are collected from."""
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    room = random_room(seed)
    # Grown fish are told by their count; a measured length need not be possible by another pack.
    odd = iter(random.sample(ODD_NAMES, len(ODD_NAMES)))
    names = {
        brood.name: next(odd, brood.name) if random.random() < 0.3 else brood.name for brood in room.broods
    }
    data: dict[str, Any] = {"fish_room": room.name, "today": str(room.today)}
    keeper: dict[str, Any] = {"move_days": [WEEKDAYS[day] for day in room.keeper.move_days]}
    if room.keeper.most_moves_a_day:
        keeper["most_moves_a_day"] = room.keeper.most_moves_a_day
    if room.keeper.away:
        keeper["away"] = [{"from": str(span.start), "until": str(span.end)} for span in room.keeper.away]
    data["keeper"] = keeper
    data["vessels"] = [_vessel(vessel) for vessel in room.vessels]
    data["vessels"] += [_breeder(), _bag()]
    data["lines"] = [
        {"name": line.name, "species": "made up", "rules": random.choice(PACKS)} for line in room.lines
    ]
    first = random.choice(room.lines).name
    start = room.today + timedelta(days=random.randint(0, 30))
    collect = {
        "by": random.choice(["picking", "mop"]),
        "every": random.choice([7, 14, 28]),
        "from": str(start),
        "until": str(start + timedelta(days=random.choice([0, 28, 60]))),
        "eggs": random.choice([10, 30, 90]),
        "label": "C",
    }
    if random.random() < 0.4:
        collect |= {"take": "if it fits", "priority": 2}
    data["breeding_groups"] = [
        {
            "name": "the pair",
            "line": first,
            "males": 1,
            "females": 1,
            "lives_in": "breeder",
            "collect": collect if random.random() < 0.5 else [collect],
        }
    ]
    data["broods"] = [_brood(brood, names, random) for brood in room.broods]
    data["could_add"] = [
        {"like": vessel.name, "price": 10, "most": random.randint(1, 3)}
        for vessel in room.vessels
        if random.random() < 0.7
    ]
    if room.pins:
        data["pins"] = [_pin(pin, names) for pin in room.pins]
    peat = {line["name"] for line in data["lines"] if line["rules"] == "annual-killifish"}
    for item in data[
        "broods"
    ]:  # a mop out of peat hangs in water in which its eggs are not counted as waiting
        if item["line"] in peat:
            item.pop("by", None)
    if first in peat:
        collect["by"] = "picking"
    return {key: value for key, value in data.items() if value != []}


def _vessel(vessel: Any) -> dict[str, Any]:
    item: dict[str, Any] = {
        "name": vessel.name,
        "kind": vessel.kinds[0].value,
        "inside": f"{vessel.length_mm / 10:g} x {vessel.width_mm / 10:g} cm",
        "water_depth": f"{vessel.depth_mm / 10:g} cm",
        "flow": [FlowSetting(vessel.flow_lowest).word, FlowSetting(vessel.flow_highest).word],
        "filter": "sponge filter" if vessel.filtered else "none",
        "snail_free": True,
    }
    if len(vessel.kinds) > 1:
        item["also_for"] = [kind.value for kind in vessel.kinds[1:]]
    span = {"from": vessel.available.start, "until": vessel.available.end}
    if any(span.values()):
        item["available"] = {key: str(day) for key, day in span.items() if day}
    return item


def _breeder() -> dict[str, Any]:
    size = {"inside": "60 x 30 cm", "water_depth": "30 cm"}
    return {"name": "breeder", "kind": "breeding", **size, "flow": "still"}


def _bag() -> dict[str, Any]:
    """Return bags of damp peat, for the lines whose eggs wait in them."""
    return {
        "name": "bag",
        "copies": 3,
        "kind": "egg store",
        "inside": "20 x 15 cm",
        "water_depth": "4 cm",
        "flow": "still",
    }


def _brood(brood: Any, names: dict[str, str], random: Random) -> dict[str, Any]:
    item: dict[str, Any] = {"name": names[brood.name], "line": brood.line, "collected": str(brood.collected)}
    if brood.by.value != "picking":
        item["by"] = brood.by.value
    item["eggs"] = brood.eggs
    homes = [home.vessel for home in brood.homes]
    if len(homes) == 2 and brood.eggs > 9 and not brood.counts:
        item["lives_in"] = [{"vessel": homes[0], "fish": 2}, {"vessel": homes[1]}]
    elif homes:
        item["lives_in"] = homes[0] if len(homes) == 1 and random.random() < 0.5 else homes
    elif random.random() < 0.4:
        item["take"] = "if it fits"
    if brood.counts:
        counts = [{"on": str(count.on), "fish": count.fish} for count in brood.counts]
        item["counted"] = counts[0] if random.random() < 0.3 else counts
    return item


def _pin(pin: Any, names: dict[str, str]) -> dict[str, Any]:
    key = "in" if pin.kind.value == "in" else "not_in"
    days = {"from": str(pin.span.start), "until": str(pin.span.end)}
    return {"brood": names[pin.brood], key: pin.vessel, **days}


# -- layout --------------------------------------------------------------------------------------------------


def scribbled(data: dict[str, Any], seed: int) -> str:
    """Return YAML of the data in any mixture of layouts, with numbered comments wherever one can stand."""
    pen = _Pen(Random(seed))  # noqa: S311 - the same
    lines = pen.entries(data, "", top=True)
    text = "\n".join(lines) + ("\n" if pen.random.random() < 0.9 else "")
    return text.replace("\n", "\r\n") if pen.random.random() < 0.15 else text


class _Pen:
    def __init__(self, random: Random) -> None:
        self.random, self.number = random, 0
        self.likes_flow = random.choice([0.1, 0.5, 0.95])

    def remark(self, often: float = 0.15) -> str:
        if self.random.random() >= often:
            return ""
        self.number += 1
        return f" # remark {self.number}: see - {{it}} [x], 'so'"

    def key(self, key: str) -> str:
        return f'"{key}"' if self.random.random() < 0.05 else key

    def entries(self, data: dict[str, Any], indent: str, *, top: bool = False) -> list[str]:
        lines: list[str] = []
        for key, value in data.items():
            if top and self.random.random() < 0.3:
                lines += ["", f"{indent}#{self.remark(1).removeprefix(' #')}"]
            flow = self.random.random() < self.likes_flow * (0.1 if top else 1)
            if not isinstance(value, dict | list) or not value:
                lines.append(f"{indent}{self.key(key)}: {self.scalar(value)}{self.remark()}")
            elif flow:
                body = self.flow(value, f"{indent}    ")
                lines += f"{indent}{self.key(key)}: {body}{self.remark()}".split("\n")
            elif isinstance(value, dict):
                lines.append(f"{indent}{self.key(key)}:{self.remark()}")
                lines += self.entries(value, indent + "  ")
            else:
                lines.append(f"{indent}{self.key(key)}:{self.remark()}")
                lines += self.items(value, indent + self.random.choice(["", "  ", "    "]))
        return lines

    def items(self, items: list[Any], indent: str) -> list[str]:
        lines: list[str] = []
        for item in items:
            if self.random.random() < 0.1:
                lines.append(f"{indent}#{self.remark(1).removeprefix(' #')}")
            if not isinstance(item, dict) or self.random.random() < self.likes_flow:
                lines += f"{indent}- {self.flow(item, indent + '    ')}{self.remark()}".split("\n")
            else:
                first, *more = self.entries(item, indent + "  ")
                lines += [f"{indent}- {first.lstrip()}", *more]
        return lines

    def flow(self, value: Any, indent: str) -> str:
        if isinstance(value, dict):
            parts = [f"{self.key(key)}: {self.flow(part, indent)}" for key, part in value.items()]
            return "{" + self.joined(parts, indent) + "}"
        if isinstance(value, list):
            return "[" + self.joined([self.flow(part, indent) for part in value], indent) + "]"
        return self.scalar(value)

    def joined(self, parts: list[str], indent: str) -> str:
        comma = self.random.choice(["", "", "", ","]) if parts else ""
        if self.random.random() < 0.1:  # one a line, as some like it
            return "".join(f"\n{indent}{part},{self.remark()}" for part in parts) + f"\n{indent}"
        space = self.random.choice(["", " "])
        return space + ", ".join(parts) + comma + space

    def scalar(self, value: Any) -> str:
        text = inline(value)
        if isinstance(value, str) and self.random.random() < 0.1 and "'" not in value and value.isprintable():
            return f"'{value}'"
        return text


# -- plans ---------------------------------------------------------------------------------------------------


def cut_at(plan: Plan, room: Room) -> Plan:
    """Return what is left of a plan on the first day of a room that was carried forward along it."""
    today = room.today
    in_being = {brood.name for brood in room.broods if not brood.planned}
    stays = [
        _from(stay, today, room) if stay.brood in in_being and stay.from_ < today else stay
        for stay in plan.stays
        if (stay.until >= today and stay.from_ < today and stay.brood in in_being) or stay.from_ >= today
    ]
    moves = [move for move in plan.moves if move.on >= today]
    flow: dict[str, FlowChange] = {}
    for change in plan.flow:
        if change.from_ <= today:
            flow[change.vessel] = change.model_copy(update={"from_": today})
    homeless = [
        row.model_copy(update={"from_": max(row.from_, today)}) for row in plan.homeless if row.until > today
    ]
    added = [row for row in plan.added if row.from_ >= today]
    return plan.model_copy(
        update={
            "stays": tuple(stays),
            "moves": tuple(moves),
            "flow": (*flow.values(), *(change for change in plan.flow if change.from_ > today)),
            "homeless": tuple(homeless),
            "added": tuple(added),
            "not_taken": tuple(row for row in plan.not_taken if row.on >= today),
            "verdict": Verdict.DOES_NOT_FIT
            if homeless
            else Verdict.NEEDS_MORE_TANKS
            if added
            else Verdict.FITS,
        }
    )


def _from(stay: Stay, today: Any, room: Room) -> Stay:
    fish = fish_today(lives(room)[stay.brood], today)
    return stay.model_copy(update={"from_": today, "fish": fish.get(stay.vessel, stay.fish)})
