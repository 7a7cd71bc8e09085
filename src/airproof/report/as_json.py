"""The verdict as one JSON object, "airproof.verdict/1": keys are added over time, never renamed."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import CauseVerdict, Moment, Pair, Verdict
from airproof.diagnosis.weighing import Weighing
from airproof.recording.recording import Recording
from airproof.report.in_words import cautions_of

if TYPE_CHECKING:
    from airproof.repair.habit import Habit
    from airproof.repair.learned.sharpen import Learned
    from airproof.repair.plan import NextStep, Plan

SCHEMA = "airproof.verdict/1"
_PROBABILITY_DIGITS = 12  # significant: the sum of all stays 1, and near-certainty is not rounded to certainty


def as_json(
    weighing: Weighing,
    plan: Plan | None = None,
    recordings: Sequence[Recording] = (),
    *,
    learned: Learned | None = None,
) -> str:
    """The object as text; never NaN or Infinity, which are not JSON. `learned`: what it was reckoned with."""
    return json.dumps(verdict_object(weighing, plan, recordings, learned=learned), indent=1, allow_nan=False)


def learned_object(learned: Learned | None) -> dict[str, Any] | None:
    """On how many closed jobs of the shop the numbers rest, and how many moved; None without a shop."""
    return None if learned is None else {"jobs": learned.jobs, "numbers": len(learned.numbers)}


def verdict_object(
    weighing: Weighing,
    plan: Plan | None = None,
    recordings: Sequence[Recording] = (),
    *,
    learned: Learned | None = None,
) -> dict[str, Any]:
    """The object itself. `recordings` are those that were weighed together, where there were several."""
    verdict = weighing.verdict
    return {
        "schema": SCHEMA,
        "inputs": _inputs(weighing, recordings or (weighing.recording,)),
        "causes": [_cause(cause, judged=verdict.refusal is None) for cause in verdict.causes],
        "pairs": [_pair(pair, verdict) for pair in verdict.pairs],
        "clashes": [
            {"facts": list(c.facts), "decibans": _decibans(c.decibans), "says": c.says} for c in verdict.clashes
        ],
        "findings": [_finding(finding) for finding in verdict.findings],
        "timeline": [_moment(moment) for moment in verdict.timeline],
        "next_steps": [] if plan is None else [step_object(step) for step in plan.next_steps],
        "habit": habit_object(None if plan is None else plan.habit),
        "currency": None if plan is None else plan.currency,
        "cannot_tell": list(verdict.cannot_tell),
        "cautions": list(cautions_of(verdict, plan)),
        "refusal": verdict.refusal,
        "doubts": list(verdict.doubts),
        "learned": learned_object(learned),
    }


def _inputs(weighing: Weighing, recordings: Sequence[Recording]) -> dict[str, Any]:
    columns = [column for one in recordings for column in one.report.columns]
    barometer, profile = weighing.barometer, weighing.profile
    return {
        "recordings": [one.label for one in recordings if one.label],
        "baselines": [one.label for one in weighing.baselines],
        "sisters": [one.label for one in weighing.sisters],
        "steps_done": dict(weighing.steps_done),
        "signals": sorted(weighing.recording),
        "understood": [
            {"heading": c.heading, "signal": c.signal, "unit": c.unit, "how": c.how, "says": c.says}
            for c in columns
            if c.signal is not None and c.how != "left out"
        ],
        "left_out": [f"{c.heading}: {c.says}" for c in columns if c.how == "left out" or c.signal is None],
        "remarks": [remark for one in recordings for remark in one.report.remarks],
        "rows_read": sum(one.report.rows_read for one in recordings),
        "rows_set_aside": sum(one.report.rows_set_aside for one in recordings),
        "regimes_s": {name: _number(value) for name, value in weighing.verdict.regimes_s.items()},
        "barometer": {
            "kpa": _number(barometer.kpa),
            "sd_kpa": _number(barometer.sd_kpa),
            "says": barometer.says,
        },
        "engine": {**profile.model_dump(exclude_unset=True), "assumed": list(profile.assumed)},
    }


def _cause(cause: CauseVerdict, *, judged: bool) -> dict[str, Any]:
    """Where nothing is `judged` a cause is listed with its prior, and no size."""
    size = cause.size if judged else None
    return {
        "id": cause.id,
        "title": cause.title,
        "probability": _number(cause.probability, _PROBABILITY_DIGITS),
        "size": None
        if size is None
        else {
            "value": _number(size.value),
            "low": _number(size.low),
            "high": _number(size.high),
            "unit": size.unit,
            "told": size.told,
            "beyond": size.beyond,
        },
        "evidence": [
            {
                "finding": e.finding,
                "decibans": _decibans(e.decibans),
                "alone_decibans": None if e.alone is None else _decibans(e.alone),
                "says": e.says,
            }
            for e in cause.evidence
        ],
    }


def _pair(pair: Pair, verdict: Verdict) -> dict[str, Any]:
    """`weight` stands beside the probabilities of single causes, which sum to 1 without it."""
    weight = verdict.pair_weights()[pair.causes]
    return {"ids": list(pair.causes), "probability": _number(pair.probability), "weight": _number(weight)}


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "id": finding.id,
        "value": _number(finding.value),
        "sd": _number(finding.sd),
        "unit": finding.unit,
        "expected": [_number(edge) for edge in finding.expected],
        "intervals_s": [[_moment_s(start), _moment_s(end)] for start, end in finding.intervals],
        "says": finding.says,
    }


def _moment(moment: Moment) -> dict[str, Any]:
    return {
        "from_s": _moment_s(moment.from_s),
        "to_s": _moment_s(moment.to_s),
        "p_wrong": _number(moment.p_wrong),
        "causes": {name: _number(value) for name, value in moment.causes.items()},
    }


def step_object(step: NextStep) -> dict[str, Any]:
    """A step with what the whole job takes, begun with it."""
    return {
        "id": step.id,
        "title": step.title,
        "kind": step.kind,
        "money": _money(step.money),
        "minutes": _money(step.minutes),
        "expected_total_money": _money(step.expected_total_money),
        "expected_total_minutes": _money(step.expected_total_minutes),
        "expected_total_cost": _money(step.expected_total_cost),
        "why": step.why,
        "outcomes": [{"says": o.says, "probability": _number(o.probability), "then": o.then} for o in step.outcomes],
    }


def habit_object(habit: Habit | None) -> dict[str, Any]:
    """Where no price makes the habit right, the price below which it would be is 0; all null where there is none."""
    if habit is None:
        keys = ("expected_money", "expected_minutes", "expected_cost")
        return {**{f"replace_now_{key}": None for key in keys}, "worth_it_below_part_price": None}
    return {
        "replace_now_expected_money": _money(habit.replace_now_expected_money),
        "replace_now_expected_minutes": _money(habit.replace_now_expected_minutes),
        "replace_now_expected_cost": _money(habit.replace_now_expected_cost),
        "worth_it_below_part_price": _money(habit.worth_it_below_part_price or 0.0),
    }


def _number(value: float, digits: int = 5) -> float | None:
    """Rounded to significant digits; null where there is no finite number."""
    value = float(value)
    if not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def _decibans(value: float) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None


def _moment_s(value: float) -> float | None:
    return round(float(value), 3) if math.isfinite(value) else None


def _money(value: float) -> float | None:
    return round(float(value), 2) if math.isfinite(value) else None
