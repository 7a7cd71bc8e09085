"""What whole jobs cost: the plan against the habits of the trade, on rehearsed cars, every step with its outcome.

    python benchmarks/whole_jobs.py [NUMBER [SEED [KNOWN...]]]

Every car is a simulated one of our own invention, with one cause or none by their weights, and two at once where the
draw has it so. Its codes are those its control unit stored; its symptoms are drawn by what drivers notice of such a
cause. What is known at the start is `recording` (a drive of the car, weighed with codes and symptoms) or `told` (codes
and symptoms alone). Each step has one outcome per car, drawn by what the step tells and cures under what is really
wrong, the same for whoever takes it. The cost is money, with minutes at the price of labour.

The ways are: the plan, made anew after each step; a new sensor first, and then repairs by falling probability per cost;
look, clean, measure, replace the sensor, and then the same; repairs by falling probability per cost from the start. No
way can beat the clairvoyant, who knows what is wrong; and no way of reasoning from the same evidence can be expected to
beat the bound (airproof/repair/bound/), averaged over the jobs. Intervals are 95 %, of paired differences.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from verdict_quality import LOGGER

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weigh import weigh
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import rehearse
from airproof.engine.rehearsal.spread import draw
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE, Step
from airproof.repair.bound.lowest import lowest
from airproof.repair.choices import Fault, positive_given
from airproof.repair.plan import already_recorded
from airproof.repair.task import Task, task_for

KNOWN = knowledge()
SENSOR = "replace-map-sensor"
PRACTICE = ("look-plug-and-wiring", "clean-map-sensor", "measure-key-on-signal", SENSOR)
STARTS = ("recording", "told")
LONGEST = 60
Way = Callable[[Task], str]


@dataclass(frozen=True)
class Job:
    """A car, what is really wrong with it, and the planning task at the start."""

    place: int
    fault: Fault
    task: Task


@dataclass(frozen=True)
class Done:
    """What one job cost each way; `expected` by the plan at its start, `bound` for any plan, `clairvoyant`."""

    fault: Fault
    costs: dict[str, float]
    steps: dict[str, int]
    expected: float
    bound: float
    clairvoyant: float


def job_at(place: int, *, seed: int, start: str) -> Job:
    """The drawn job."""
    request = draw(seed, place).request
    fault = tuple(sorted(f.cause for f in request.faults)) or (NONE,)
    rehearsed = rehearse(request)
    codes = sorted({*rehearsed.codes.confirmed, *rehearsed.codes.pending} & set(KNOWN.codes))
    rng = np.random.default_rng([seed, place, 7])
    noticed = [s.id for s in KNOWN.symptoms.values() if rng.random() < max(s.given(cause) for cause in fault)]
    recordings = [as_recording(logged(rehearsed, LOGGER), "rehearsed")] if start == "recording" else []
    verdict = weigh(
        recordings,
        request.profile,
        codes=codes,
        symptoms=noticed,
        barometer=barometer_of(altitude_m=request.scene.altitude_m),
        ambient_c=request.scene.ambient_c,
    ).verdict
    task = task_for(
        {c.id: c.probability for c in verdict.causes},
        KNOWN,
        KNOWN.prices,
        done=already_recorded(verdict.regimes_s, KNOWN),
        pairs=verdict.pair_weights(),
    ).doubted()
    return Job(place, fault, task)


def chance(seed: int, place: int, step: str) -> float:
    """The draw that decides a step on a car, whoever takes it and whenever."""
    return float(np.random.default_rng([seed, place, zlib.crc32(step.encode())]).random())


def cost_of(step: Step, standing: set[str]) -> float:
    """Money and minutes of a step where some set-ups stand, as one cost."""
    minutes = step.minutes - sum(KNOWN.setups[name].minutes for name in standing & set(step.set_up))
    money = KNOWN.prices.part(step.part) + step.risk.expected_money
    return money + minutes * KNOWN.prices.labour_per_hour / 60.0


def carried_out(job: Job, way: Way, seed: int) -> tuple[float, int]:
    """What the job costs that way, and how many steps it takes."""
    fault, task, standing, cost = job.fault, job.task, set[str](), 0.0
    for number in range(1, LONGEST + 1):
        step = KNOWN.steps[way(task)]
        cost += cost_of(step, standing)
        if step.ends:
            return cost, number
        standing |= set(step.set_up)
        if step.engine_runs:
            standing = {name for name in standing if KNOWN.setups[name].stands_running}
        drawn = chance(seed, job.place, step.id)
        if step.tells:
            task = task.after(step, drawn < positive_given(step, fault))
            continue
        # Of two causes each is decided by its own draw.
        left = tuple(c for c in fault if chance(seed, job.place, f"{step.id} {c}") >= step.cures.get(c, 0.0))
        if not left:
            return cost, number
        fault = left
        task = task.after(step, None)
    raise RuntimeError(f"job {job.place} does not end")


def by_plan(task: Task) -> str:
    """The first step of the plan."""
    return task.looked_into().first


def by_rate(task: Task) -> str:
    """The repair that cures most probability per cost, what it needs first included; the end where that is cheaper."""
    ending = min((s for s in KNOWN.steps.values() if s.ends), key=lambda s: cost_of(s, set()))
    best, rate = ending, 1.0 / cost_of(ending, set())
    for step in KNOWN.steps.values():
        if step.cures and step.id not in task.done:
            cured = sum(p * step.cures.get(c, 0.0) for c, p in task.belief.items())
            needs = [one for one in _all_before(step) if one not in task.done]
            cost = cost_of(step, set()) + sum(cost_of(KNOWN.steps[one], set()) for one in needs)
            if cured / cost > rate:
                best, rate = step, cured / cost
    return next((one for one in _all_before(best) if one not in task.done), best.id)


def _all_before(step: Step) -> Iterator[str]:
    for earlier in step.after:
        yield from _all_before(KNOWN.steps[earlier])
        yield earlier


def sensor_first(task: Task) -> str:
    """A new sensor, whatever it is."""
    return SENSOR if SENSOR not in task.done else by_rate(task)


def by_practice(task: Task) -> str:
    """Look, clean, measure, replace."""
    return next((step for step in PRACTICE if step not in task.done), None) or by_rate(task)


WAYS: dict[str, Way] = {
    "the plan": by_plan,
    "a new sensor first": sensor_first,
    "look, clean, measure, replace": by_practice,
    "repairs by probability per cost": by_rate,
}


def known_cost(fault: Fault, task: Task) -> float:
    """What the job costs on average for someone who knows the fault."""
    belief = dict.fromkeys(task.belief, 0.0) | {fault[0]: 1.0 if len(fault) == 1 else 0.0}
    pairs = {fault: 1.0} if len(fault) > 1 else {}
    return replace(task, belief=belief, pairs=pairs).looked_into().options[0].cost


def worked(place: int, *, seed: int, start: str) -> Done:
    """One job, every way."""
    job = job_at(place, seed=seed, start=start)
    looked = job.task.looked_into()
    ended = {name: carried_out(job, way, seed) for name, way in WAYS.items()}
    return Done(
        fault=job.fault,
        costs={name: cost for name, (cost, _) in ended.items()},
        steps={name: steps for name, (_, steps) in ended.items()},
        expected=looked.options[0].cost,
        bound=lowest(looked.choices, looked.place),
        clairvoyant=known_cost(job.fault, job.task),
    )


def with_interval(values: np.ndarray) -> str:
    """A mean with its 95 % interval."""
    half = 1.96 * values.std(ddof=1) / np.sqrt(values.size)
    return f"{values.mean():.1f} +-{half:.1f}"


def main() -> None:
    words = sys.argv[1:]
    number, seed = int([*words, "1000"][0]), int(words[1]) if len(words) > 1 else 1
    for start in words[2:] or STARTS:
        with ProcessPoolExecutor() as pool:
            done = list(pool.map(partial(worked, seed=seed, start=start), range(number), chunksize=4))
        plan = np.array([d.costs["the plan"] for d in done])
        print(f"\n{number} jobs, known at the start: {start}\n")
        print("| way | mean cost, USD | the plan is cheaper by, USD | in % | steps |\n|---|---|---|---|---|")
        for name in WAYS:
            costs = np.array([d.costs[name] for d in done])
            cheaper = "" if name == "the plan" else with_interval(costs - plan)
            share = "" if name == "the plan" else f"{100 * (1 - plan.mean() / costs.mean()):.1f}"
            steps = np.mean([d.steps[name] for d in done])
            print(f"| {name} | {with_interval(costs)} | {cheaper} | {share} | {steps:.1f} |")
        for name in ("expected", "bound", "clairvoyant"):
            values = np.array([getattr(d, name) for d in done])
            above = 100 * (plan.mean() / values.mean() - 1)
            print(f"| {name} | {with_interval(values)} | | plan above it by {above:.1f} | |")
        gaps = np.array([1.0 - d.bound / d.expected for d in done])
        held = ", ".join(f"{100 * np.mean(gaps <= g):.0f} % within {100 * g:.0f} %" for g in (0.05, 0.1, 0.2, 0.3))
        print(f"\ngap between plan and bound: median {100 * np.median(gaps):.1f} %, {held}", flush=True)


if __name__ == "__main__":
    main()
