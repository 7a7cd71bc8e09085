"""The weighing: the answer, each cause with the evidence for and against it, and the exhibits."""

from __future__ import annotations

from airproof.diagnosis import misread
from airproof.report.case_file import CauseShown, EvidenceShown, case_file
from airproof.report.exhibits import SUBJECTS
from airproof.report.in_words import answer, cost_of, in_words, when
from airproof.report.left_in_words import left_in_words
from airproof.report.wording import clock, in_hundred, sentence
from airproof.web.case.file import CaseFile
from airproof.web.marks import Mark, button, folded, folded_later, heading, lines, link, say
from airproof.web.pictures import exhibits_of


def answer_in_short(case: CaseFile) -> None:
    """What it comes to, for who reads nothing else."""
    if case.state.engine is None:
        with Mark("section", classes="answer", aria_label="The answer"):
            say("Nothing can be weighed yet: the engine is not known.")
            with Mark("p"):
                link("Say which engine it is", "#car")
    if case.weighed is None:
        return
    if case.kept_back:
        with Mark("section", classes="answer", aria_label="The answer"):
            say("A job to practise on. What is wrong, and what would you do first? The program has its answer.")
            button("Show what the program says", case.tell)
        return
    weighed, words = case.weighed, case.words
    verdict = weighed.weighing.verdict
    with Mark("section", classes="answer", aria_label="The answer"):
        for line in answer(verdict):
            say(words(line))
        _put_right(case, verdict.refusal)
        left = left_in_words(case.state, case.bench.known)
        if left:
            say(left[0])
        plan = None if left else weighed.plan
        if plan is not None and plan.next_steps:
            step = plan.next_steps[0]
            with Mark("p"):
                Mark("span", "Next: ")
                link(step.title, f"/job/{case.job}/step/{step.id}")
                Mark("span", f", {words(cost_of(step, plan.currency))}. ")
                link("Why", "#next", aria_label="Why this step comes next")


def show(case: CaseFile) -> None:
    """The argument, from the answer down to the rule that each piece of evidence rests on."""
    heading(2, "The weighing", id="weighing")
    if case.weighed is None:
        say(
            "Nothing has been weighed yet: it needs the engine, and a recording or anything told, seen or read.", "soft"
        )
        return
    if case.kept_back:
        say("It is kept back until you ask for it, at the top.", "soft")
        return
    weighing = case.weighed.weighing
    words = case.words
    if weighing.verdict.refusal is not None:
        say(sentence(words(weighing.verdict.refusal)))
        _put_right(case, weighing.verdict.refusal)
        return
    parts = {part.id: part for part in in_words(weighing, case.weighed.plan, case.weighed.recordings)}
    for line in when(weighing):
        say(words(line))
    shown = case_file(weighing.verdict)
    for cause in shown.causes:
        _cause(case, cause)
    if shown.others:
        say(words(shown.others), "soft")
        with folded("Which these are"):
            lines(sentence(words(one)) for one in shown.which)
    for pair in weighing.verdict.pairs[:2]:
        names = " and ".join(case.bench.known.causes[name].title.lower() for name in pair.causes)
        say(f"Both at once ({names}): {in_hundred(pair.probability)} against either alone.")
    if weighing.verdict.clashes:
        heading(3, "What does not go together")
        lines(sentence(words(clash.says)) for clash in weighing.verdict.clashes)
    if "cannot-tell" in parts:
        heading(3, "What this cannot tell")
        lines(map(words, parts["cannot-tell"].lines))
    _exhibits(case)
    left_out = case.weighed.left_out
    with folded("What was read, guessed and left out"):
        lines(map(words, parts["read"].lines))
        lines(sentence(one) for one in left_out)


def _put_right(case: CaseFile, refusal: str | None) -> None:
    """Links to where a heading or unit is put right, if that is what keeps everything from being judged."""
    if refusal is None or not refusal.endswith(misread.WAY_OUT):
        return
    given = [fact.payload for fact in case.state.recordings.values() if fact.payload.role != "after"]
    named = [one for one in given if refusal.startswith(f"{one.name}: ")]  # only where there are several
    for one in named or given:
        with Mark("p"):
            link(f"Put a heading or unit of {one.name} right", f"/job/{case.job}/recording/{one.sha256}#headings")


def _cause(case: CaseFile, cause: CauseShown) -> None:
    words = case.words
    with Mark("section", classes="cause", aria_label=words(cause.says)):
        heading(3, words(cause.says))
        percent = 100.0 * cause.probability
        with Mark("div", classes="bar", role="img", aria_label=f"Chance: {cause.chance}"):
            Mark("div").style(f"width: {percent:.1f}%")
        say(f"Chance: {cause.chance}.")
        count = len(cause.speaks_for) + len(cause.against)
        if count:
            folded_later(
                f"The evidence: {len(cause.speaks_for)} for it, {len(cause.against)} against it",
                lambda: _evidence(case, cause),
            )


def _evidence(case: CaseFile, cause: CauseShown) -> None:
    for title, pieces in (("For it", cause.speaks_for), ("Against it", cause.against)):
        if not pieces:
            continue
        heading(4, title)
        with Mark("ul", classes="evidence"):
            for piece in pieces:
                with Mark("li"):
                    _piece(case, piece)
    often = "rare" if cause.before < 0 else "common"
    say(
        f"Before any evidence this is {often} ({cause.before:+.0f} decibans). "
        f"{cause.silent} more pieces were heard and hardly speak. "
        "Ten decibans are ten to one; pieces that say the same share their weight.",
        "soft",
    )


def _piece(case: CaseFile, piece: EvidenceShown) -> None:
    words = case.words
    with folded(words(piece.says)):
        alone = f"Heard alone it {piece.weight} ({piece.decibans:+.0f} decibans)"
        say(f"{alone}; among its like it came to {piece.counted:+.1f}.")
        say(piece.rule.rule)
        with Mark("p"):
            Mark("code", piece.rule.formula)
        if piece.healthy:
            say(words(piece.healthy))
        say(f"Source: {piece.rule.source}", "soft")
        if piece.intervals and case.weighed is not None:
            recordings = case.state.recordings_as("car")
            with Mark("p"):
                Mark("span", "It rests on ")
                for count, (start, end) in enumerate(piece.intervals[:6]):
                    Mark("span", ", " if count else "")
                    text = f"{clock(start)} to {clock(end)}"
                    if len(recordings) == 1:
                        sha = recordings[0].payload.sha256
                        link(text, f"/job/{case.job}/recording/{sha}?from={start:.2f}&to={end:.2f}")
                    else:
                        Mark("span", text)
                Mark("span", f" and {len(piece.intervals) - 6} more." if len(piece.intervals) > 6 else ".")
        if piece.rule.exhibit is not None and case.weighed is not None and case.weighed.recordings:
            link(f"Exhibit {piece.rule.exhibit}: {SUBJECTS[piece.rule.exhibit]}", f"#exhibit-{piece.rule.exhibit}")


def _exhibits(case: CaseFile) -> None:
    weighed = case.weighed
    if weighed is None or not weighed.recordings:
        return
    heading(3, "Exhibits")
    with Mark("div", data_unseen="") as place:
        for number, subject in SUBJECTS.items():
            with Mark("figure", id=f"exhibit-{number}", classes="waiting"):
                Mark("figcaption", f"Exhibit {number}. {subject}.")

    async def draw() -> None:
        drawn = await exhibits_of(case.bench, case.job, weighed)
        place.clear()
        with place:
            for one in drawn:
                if one.not_drawn is not None:
                    say(f"Exhibit {one.number}, {one.title.lower()}: not drawn, because {one.not_drawn}.", "soft")
                    continue
                with Mark("figure", id=f"exhibit-{one.number}"):
                    with link("", one.address, target="_blank"):  # by itself it can be drawn as large as one likes
                        Mark("img", src=one.address, alt=one.alt, loading="lazy", width=one.width, height=one.height)
                    Mark("figcaption", f"Exhibit {one.number}. {case.words(one.caption)}")

    # Drawing takes as long as weighing: not before somebody looks there.
    place.on("seen", draw, [])
