"""How little strain a room could have, by each way to tell: `python -m tests.benchmark.strain home-rack home-pins-1`.

Rooms are scenarios, or home rooms of the benchmark. Printed are what first fit reaches, what cohorts reach and show in a
budget of work, what each brood has alone, and what the sweep shows, with its seconds of processor time.
"""

import sys
from pathlib import Path
from threading import Event
from time import monotonic, process_time

sys.path.insert(0, str(Path(__file__).parents[1]))

from allocator.model.alone import Gauge, alone
from allocator.model.hints import start_from
from allocator.model.improving import WORK
from allocator.model.quick import quick_plan
from allocator.model.room_model import CohortModel
from allocator.model.run import Run
from allocator.model.search import Budget, search
from allocator.model.sweep import least_strain
from allocator.needs import needs_of
from allocator.reading import read_room
from allocator.room import Room
from benchmark.rooms import bench_room

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def room_of(name: str) -> Room:
    """Return a scenario, or a room of the benchmark."""
    path = SCENARIOS / f"{name}.yaml"
    if path.exists():
        return read_room(path).room
    size, *character, seed = name.split("-")
    return bench_room("-".join(character), size, int(seed))


def told(name: str) -> str:
    """Return a line of what is known of a room."""
    room = room_of(name)
    needs = needs_of(room)
    run = Run(room, needs, needs, Event(), None, monotonic(), lambda _: None, None, lambda _, __: None)
    found = quick_plan(run, {}, "first fit")
    if found.score.homeless_fish_days:
        return f"{name}: not all find a home"
    gauge = Gauge(needs)
    single = sum(alone(needs, brood, gauge).least for brood in needs.broods)
    begun = process_time()
    swept = least_strain(needs, {}, enough=found.score.strain)
    seconds = process_time() - begun
    model = CohortModel(found.needs, adding=False, homeless=False)
    start_from(model, found.solution)
    model.model.minimize(model.objectives["strain"])
    cohorts = search(model.model, Budget(WORK["strain"], brief=True), stop=Event())
    return (
        f"{name}: {len(needs.broods)} broods, first fit {found.score.strain}, cohorts {cohorts.objective:.0f} and at "
        f"least {cohorts.bound:.0f}, each alone {single}, sweep {swept} in {seconds:.2f} s"
    )


if __name__ == "__main__":
    for each in sys.argv[1:]:
        print(told(each), flush=True)
