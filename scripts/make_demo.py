"""Make the demo's calls: two invented buildings, causes planted in our own machine, the advice followed.

    python scripts/make_demo.py [ice_hall|film_vault]

The machine is the package's own, with healthy parameters drawn once and the planted causes acting on it; a
plain store of heat and moisture stands for the room, and a plain control moves stages and reheat. Every
reading carries instrument error, drawn once with a fixed seed. Which reading comes next is not written
anywhere: after each step the call is weighed and the check that the tool names first is taken, until one set
of causes is probable enough or patience ends. Then the planted causes are mended and the unit is read again.

So the demo shows the job on readings whose truth is known; it proves nothing about other machines (what
the tool is worth is measured elsewhere, on calls of other makers: docs/validation.md). Buildings, causes and
seeds were chosen for stories that are short to read. The files are written to src/wringout/demo/ and kept in
the repository; run this again after a change to the weighing, so that the advice followed stays the advice
given.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from wringout.catalogue.calls import load_call
from wringout.catalogue.points import point, shown, sigma
from wringout.documents.load import load_unit
from wringout.documents.overview import system_of
from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS, variants
from wringout.machine.conditions import Conditions
from wringout.machine.design import design
from wringout.machine.parameters import Array, healthy_values, neutral, spreads
from wringout.machine.room_side import room_balance
from wringout.machine.steady import Settled, read_points, settle
from wringout.physics.moist_air import dew_point, saturated_humidity_ratio
from wringout.weighing.answer import weigh

FOLDER = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"
RUN = "from wringout.cli.main import main; main()"
ENOUGH = 0.8  # four in five: what a technician acts on
PATIENCE = 10  # checks
WORTH = 0.15  # bits for which another reading in the same held state is taken along
SETTLE = 15  # minutes in a held state before its first reading
HANDLING = 3  # minutes from one reading to the next beside those of the reading itself
STEP = 60.0  # s
ROOM_STORE = 3.0  # heat and moisture that walls and contents hold beside the air, in airs of the room
PROPORTIONAL, INTEGRAL = 0.2, 5000.0  # of the reheat control [1/K], [K s]


@dataclass(frozen=True)
class Planted:
    """One cause, the words of its variant, and its severities as shares of the span."""

    cause: str
    severities: tuple[float, ...] = ()
    variant: str = ""


@dataclass(frozen=True)
class Story:
    """What makes one demo call."""

    folder: str
    complaint: str
    start: str
    outdoor_t: float
    outdoor_dew_point: float
    planted: tuple[Planted, ...]
    repairs: tuple[str, ...]
    walk_up: tuple[str, ...]
    proof: tuple[tuple[str, str], ...]
    seed: int
    away: int = 20 * 60  # minutes between the repair and the readings after it


STORIES: tuple[Story, ...] = ()


class Truth:
    """The invented building: a machine with causes, a room that stores, a control that acts."""

    def __init__(self, unit: Unit, story: Story) -> None:
        self.unit, self.story = unit, story
        self.design = design(unit)
        self.rng = np.random.default_rng(story.seed)
        rows = spreads(self.design)
        z = np.clip(0.8 * self.rng.standard_normal((1, len(rows))), -1.6, 1.6)
        self.healthy: dict[str, Array] = neutral(self.design) | healthy_values(rows, z)
        self.values = self._with_causes(story.planted)
        self.space_t = unit.control.space_t + 0.5
        self.space_w = float(self._w(unit.control.dew_point + 1.0))
        self.command, self.integral = 0.4, 0.4
        self.active, self.stages, self.modulation = True, 1.0, 1.0
        self.held: tuple[str, float] | None = None

    def _w(self, dew: float) -> float:
        return float(saturated_humidity_ratio(dew, self.design.pressure))

    def _with_causes(self, planted: tuple[Planted, ...]) -> dict[str, Array]:
        values = dict(self.healthy)
        for one in planted:
            ways = variants(one.cause, self.unit)
            way = next((w for w in ways if w.label == one.variant), ways[0])
            values |= ACTS[one.cause].move(values.__getitem__, way, [np.array([u]) for u in one.severities])
        return values

    def mend(self) -> None:
        self.values = dict(self.healthy)

    def settled(self) -> Settled:
        dew = float(dew_point(self.space_w, self.design.pressure))
        c = Conditions(
            *(
                np.array([value])
                for value in (
                    self.story.outdoor_t,
                    self.story.outdoor_dew_point,
                    self.space_t,
                    dew,
                    self.command,
                    self.stages,
                    self.modulation,
                    0.3 if self.stages == 0.0 else 0.0,
                )
            )
        )
        return settle(self.design, self.values, c)

    def control(self, s: Settled) -> None:
        """One minute of the sequence of operation that every unit here follows."""
        points = read_points(s)
        c = self.unit.control
        over = float(points["shown.dew_point"][0] - points["shown.setpoint_dew_point"][0])
        if float(self.values["locked_out"][0]) > 0.5:
            self.active = False
        elif over > 0.0:
            self.active = True
        elif over < -0.5 * c.dew_point_band:
            self.active = False
        place = min(max(over / c.dew_point_band + 0.5, 0.0), 1.0)
        most = float(len(self.unit.cooling.stages)) if self.design.dx else 1.0
        self.modulation = place if self.active else 0.0
        if not self.active:
            self.stages = 0.0
        elif self.design.dx:
            self.stages = min(max(float(np.ceil(place * most)), 1.0), most)
        else:
            self.stages = 1.0
        error = c.space_t - float(points["shown.space_t"][0])
        if float(self.values["in_hand"][0]) > 0.5:
            pass
        elif self.active:
            self.integral = min(max(self.integral + error * STEP / INTEGRAL, 0.0), 1.0)
            self.command = min(max(self.integral + PROPORTIONAL * error, 0.0), 1.0)
        else:
            self.command = self.integral = 0.0
        if self.held is not None:
            item, to = self.held
            if item == "reheat.command":
                self.command = to
            elif to >= 0.5:
                self.stages, self.modulation = most, 1.0
            else:
                self.stages, self.modulation = 0.0, 0.0

    def run(self, minutes: float) -> None:
        space = self.unit.space
        air = space.volume * 1.2
        for _ in range(round(minutes * 60.0 / STEP)):
            s = self.settled()
            balance = room_balance(s)
            heat = float(balance.heat_gain[0] - balance.heat_removed[0])
            moisture = float(balance.moisture_gain[0] - balance.moisture_removed[0])
            self.space_t += heat * STEP / (air * 1020.0 * ROOM_STORE)
            self.space_w = max(self.space_w + moisture * STEP / (air * ROOM_STORE), 5e-4)
            self.control(s)

    def exact(self, name: str) -> float:
        if name == "shown.dehumidifying":
            return float(self.active)
        return float(read_points(self.settled())[name][0])

    def reading(self, name: str) -> str:
        """What the instrument shows, in the words of a call document."""
        value = self.exact(name)
        spread = sigma(name, value)
        if str(point(name).dimension) not in ("yes_no", "count"):
            value += spread * float(self.rng.standard_normal())
        low, high = point(name).low, point(name).high
        return shown(name, min(max(value, low), high), system_of(self.unit))


@dataclass
class Log:
    """The call as it grows."""

    story: Story
    now: datetime
    events: list[str] = field(default_factory=list)
    read: set[tuple[str, str]] = field(default_factory=set)

    def add(self, words: str) -> None:
        self.events.append(f"  - {{at: {self.now:%Y-%m-%dT%H:%M:%S}, {words}}}")

    def write(self, name: str, title: str) -> Path:
        path = FOLDER / self.story.folder / name
        text = [
            "# invented data: computed by scripts/make_demo.py, instrument error included",
            f"# {title}",
            "format: wringout-call/1",
            "unit: unit.yaml",
            f"complaint: {self.story.complaint}",
            "events:",
            *self.events,
        ]
        path.write_text("\n".join(text) + "\n", encoding="utf-8")
        return path


def tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


class Visit:
    """A technician with the tool: reads what it asks for, in the states it asks for."""

    def __init__(self, truth: Truth, log: Log) -> None:
        self.truth, self.log = truth, log

    def _pass(self, minutes: float) -> None:
        self.truth.run(minutes)
        self.log.now += timedelta(minutes=minutes)

    def take(self, state: str, name: str) -> None:
        self.enter(state)
        self._pass(max(round(point(name).minutes), 1) + (0 if point(name).by == "display" else HANDLING))
        by = point(name).by
        text = self.truth.reading(name)
        self.log.add(f"kind: reading, point: {name}, value: {text}, by: {by}")
        self.log.read.add((state, name))
        tell(f"    {state}: {name} {text}")

    def enter(self, state: str) -> None:
        item, _, share = state.partition("=")
        wanted = (item, float(share.removesuffix("%")) / 100.0) if share else None
        if wanted == self.truth.held:
            return
        if self.truth.held is not None:
            self.log.add(f"kind: release, item: {self.truth.held[0]}")
            self.truth.held = None
            self._pass(1 if wanted else SETTLE)
        if wanted is not None:
            self.log.add(f"kind: force, item: {wanted[0]}, to: {share}")
            self.truth.held = wanted
            self._pass(SETTLE)

    def mend(self) -> None:
        self.enter("auto")
        for one, words in zip(self.truth.story.planted, self.truth.story.repairs, strict=True):
            self._pass(20)
            self.log.add(f'kind: change, cause: {one.cause}, text: "{words}"')
        self.truth.mend()
        self._pass(self.truth.story.away)


def weighed(path: Path) -> Iterator[str]:
    answer = weigh(load_call(path), np.random.default_rng(0))
    for one in answer.sets[:4]:
        yield f"    {one.probability:6.3f} {' + '.join(one.causes) or 'healthy'}"


def tell_story(story: Story) -> bool:
    folder = FOLDER / story.folder
    for old in folder.glob("call-*.yaml"):
        old.unlink()
    truth = Truth(load_unit(folder / "unit.yaml"), story)
    truth.run(30 * 60)
    log = Log(story, datetime.fromisoformat(story.start))
    visit = Visit(truth, log)
    tell(f"{story.folder}: {' + '.join(p.cause for p in story.planted)}")
    for name in story.walk_up:
        visit.take("auto", name)
    path = log.write("call-1-walk-up.yaml", "the walk-up readings")
    step = taken = 1
    while True:
        answer = weigh(load_call(path), np.random.default_rng(0))
        best = answer.sets[0]
        tell(f"  step {step}: {best.probability:.3f} {' + '.join(best.causes) or 'healthy'}")
        if best.probability >= ENOUGH or taken > PATIENCE:
            break
        first = answer.next[0]
        visit.take(first.state, first.point)
        taken += 1
        if first.state != "auto":  # the wait is paid: take what else is asked for in the same state
            same = [c for c in answer.next[1:6] if c.state == first.state and c.gain_bits > WORTH]
            for other in same[:2]:
                visit.take(other.state, other.point)
                taken += 1
        step += 1
        path = log.write(f"call-{step}.yaml", f"step {step}: the check that the tool named first is read")
    (folder / "planted.yaml").write_text(
        "# invented data: what scripts/make_demo.py planted; no reading is needed to know it\n"
        f"seed: {story.seed}\n"
        "causes:\n" + "".join(f"  - {one.cause}\n" for one in story.planted),
        encoding="utf-8",
    )
    found = set(best.causes) == {p.cause for p in story.planted}
    visit.mend()
    for state, name in story.proof:
        visit.take(state, name)
    visit.enter("auto")
    final = log.write("call-final.yaml", "mended, and read again")
    for line in weighed(final):
        tell(line)
    tell("  as planted" if found else "  NOT as planted")
    return found


def write_capture() -> None:
    """The README shows what the command answers on the last call before the repair."""
    readme = FOLDER.parents[2] / "README.md"
    last = max(
        (FOLDER / "film_vault").glob("call-[0-9]*.yaml"), key=lambda path: int(path.stem.split("-")[1])
    )
    run = subprocess.run(
        [sys.executable, "-c", RUN, "weigh", last.name, "--checks", "1"],
        cwd=last.parent,
        env={**os.environ, "COLUMNS": "80"},
        capture_output=True,
        text=True,
        check=True,
    )
    block = f"```console\n$ wringout weigh {last.name} --checks 1\n{run.stdout}```"
    text = readme.read_text(encoding="utf-8")
    readme.write_text(re.sub(r"```console\n.*?```", lambda _: block, text, flags=re.S), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("story", nargs="?", choices=[story.folder for story in STORIES])
    chosen = parser.parse_args().story
    found = [tell_story(story) for story in STORIES if chosen in (None, story.folder)]
    write_capture()
    sys.exit(0 if all(found) else 1)


DISPLAY = (
    "shown.dew_point",
    "shown.setpoint_dew_point",
    "shown.space_t",
    "shown.supply_t",
    "shown.dehumidifying",
    "shown.stages_called",
    "shown.reheat_command",
)
AIR = ("return.t", "return.rh", "supply.t", "supply.rh", "outdoor.t", "outdoor.rh")

STORIES = (
    Story(
        folder="ice_hall",
        complaint="Cold air falls on the stands at every start of the unit.",
        start="2029-08-21T13:40:00",
        outdoor_t=26.0,
        outdoor_dew_point=18.5,
        planted=(Planted("bypass-shut", (0.4,)),),
        repairs=("opened the bypass leg's balancing valve to its mark",),
        walk_up=(*DISPLAY, *AIR),
        proof=(
            *(("auto", name) for name in (*DISPLAY, *AIR)),
            ("reheat.command=0 %", "loop.flow"),
            ("reheat.command=0 %", "reheat.water_in"),
        ),
        seed=4,
    ),
    Story(
        folder="film_vault",
        complaint="The rh chart has been over its line since the weekend.",
        start="2029-06-12T09:20:00",
        outdoor_t=27.5,
        outdoor_dew_point=20.0,
        planted=(Planted("filter-loaded", (0.35,)), Planted("dew-sensor-low", (0.5,))),
        repairs=("new filters, frame sealed", "changed the dew-point sensor, checked beside a second one"),
        walk_up=(*DISPLAY, *AIR),
        proof=tuple(("auto", name) for name in (*DISPLAY, *AIR, "filter.drop", "space.t", "space.rh")),
        seed=10,
    ),
)

if __name__ == "__main__":
    main()
