"""One question to the keeper's room after another, within one budget of time and one of tries."""

from collections.abc import Callable
from dataclasses import dataclass
from threading import Event
from time import monotonic

from allocator.housing import Housing, can_house
from allocator.plan import Plan
from allocator.result import Progress
from allocator.room import Room

MOST_ASKED = 150
"""So many rooms are planned for one question at most (judgement: a minute or two in a small room)."""


@dataclass
class Asking:
    """What all the tries for one question share: clock, stop button, live line; and how many there were."""

    stop: Event
    progress: Callable[[Progress], None]
    seconds: float | None
    started: float
    asked: int = 0
    cut_short: bool = False

    def over(self) -> bool:
        """Tell whether no more should be asked."""
        late = self.seconds is not None and monotonic() - self.started >= self.seconds
        if late or self.stop.is_set() or self.asked >= MOST_ASKED:
            self.cut_short = True
        return self.cut_short

    def left(self) -> float | None:
        """Return the seconds that are left; None where there is no limit."""
        return None if self.seconds is None else max(self.seconds - (monotonic() - self.started), 0.1)

    def can_house(self, room: Room, stage: str, against: Plan | None = None) -> Housing:
        """Tell whether everybody in a room can be housed; not known once the budget is used up."""
        if self.over():
            return Housing(housed=None)
        self.asked += 1
        return can_house(
            room,
            against=against,
            seconds=self.left(),
            stop=self.stop,
            progress=self.progress,
            stage=f"{stage} (try {self.asked})",
        )
