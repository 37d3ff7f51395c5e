"""A log in words: one moment an event, with the caution as it was shown, what should be, what was typed, what was taken.

Nothing is left out: a kind that is not known here is shown with its data. Rows marked on a list that is still open are
told with the list, once it is closed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final

from troubleshoot.evidence import told
from troubleshoot.job.naming import act_words, left_open
from troubleshoot.job.reasons import why_words
from troubleshoot.log.event import canonical
from troubleshoot.report.blocks import Moment, Tone
from troubleshoot.review.actions import stops_first
from troubleshoot.review.expecting import NAMED, Expecting, Happened, Moved, meant
from troubleshoot.store.row import is_left_out
from troubleshoot.store.summary import too_short

QUIET: Final = frozenset({"mark", "marked all"})
"""Told with the list that they belong to."""
JUMP_MS: Final = 120_000
"""The wall clock running so far ahead of the elapsed time is no drift: somebody set it. Common practice."""
PAUSE_MS: Final = 3_600_000
Said = tuple[str, tuple[tuple[str, str], ...], Tone]


def moments(
    events: Sequence[Happened], gone: frozenset[int], expecting: Expecting, moved: Mapping[int, Moved], signed_at: int = 0,
) -> Iterator[Moment]:  # fmt: skip
    """gone: events taken back; moved: the suspicion after those events it is known for; signed_at: number of the event
    that the first good countersignature covers, 0 for none."""
    before: Happened | None = None
    day = ""
    quiet = 0
    for event in events:
        if event.kind in QUIET:
            quiet = quiet or event.n
            before = event
            continue
        at = event.when
        if before is not None:
            yield from _time_between(before, event)
        if f"{at:%d %b %Y}" != day:
            day = f"{at:%d %b %Y}"
            yield Moment(0, "", f"{at:%A} {day}, {at:%z}"[:-2], tone=Tone.NOTE)
        title, details, tone = _told_by(event, events, expecting)
        if 0 < signed_at < event.n and event.kind != "signed":
            title = f"{title} (after the countersignature)"
        if event.n in gone:
            # Nothing that somebody put right in the record stands out.
            details, tone = (*details, ("taken back", "it does not count any more; that is normal work")), Tone.PLAIN
        elif event.n in moved:
            details = (*details, ("then", _left(moved[event.n])))
        yield Moment(event.n, f"{at:%H:%M:%S}", title, details, tone, event.n in gone, quiet)
        before, quiet = event, 0


def _left(moved: Moved) -> str:
    likely = ", ".join(f"{words} {p:.0%}" for words, p in moved.likeliest[:NAMED] if p >= 0.01)
    return f"{moved.left} left: {likely}"


def _time_between(before: Happened, event: Happened) -> Iterator[Moment]:
    """A clock that was set, or a long silence."""
    ran = event.elapsed_ms - before.elapsed_ms
    wall = (event.when - before.when).total_seconds() * 1000
    if event.kind != "clock" and wall - ran > JUMP_MS:
        yield Moment(0, "", f"The clock moved forward {_long(wall - ran)}.", tone=Tone.CAUTION)
    elif ran >= PAUSE_MS:
        yield Moment(0, "", f"Nothing was written for {_long(ran)}.", tone=Tone.NOTE)


def _long(ms: float) -> str:
    minutes = round(ms / 60_000)
    if minutes >= 2 * 24 * 60:
        return f"{minutes // 1440} days {minutes % 1440 // 60} h"
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"


def _told_by(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    teller = _TELLERS.get(event.kind)
    if teller is None:
        return _unknown(event)
    try:
        return teller(event, events, expecting)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError):
        return _unknown(event)  # the kind is known, its form is of another program


def _unknown(event: Happened) -> Said:
    shown = tuple((key, value if isinstance(value, str) else canonical(value)) for key, value in event.data.items())
    return f"{event.kind} (not known to this program)", shown, Tone.CAUTION


# ----------------------------------------------------------------------------------------------------------- the kinds


def _opened(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    return (
        f'{d["who"]} begins: {d["machine"]}, "{d["said"]}"',
        (("taken for", _symptom(str(d["complaint"]), expecting)),),
        Tone.PLAIN,
    )


def _symptom(name: str, expecting: Expecting) -> str:
    """A complaint as the machine's description words it."""
    known = expecting.desk.machine.circuit.complaints.get(name) if expecting.desk is not None else None
    return known.words[0] if known is not None and known.words else name.replace("-", " ")


def _complaint(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"Taken otherwise than it was: {event.data['words']}", (), Tone.PLAIN


def _resumed(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    idle = int(d.get("idle_ms", 0))
    details = [("before it", f"nothing for {_long(idle)}")] if idle >= 60_000 else []
    if d.get("changed"):
        details.append(("changed", "the machine's description is another one since"))
    return f"{d.get('who', 'somebody')} takes it up; cautions and isolation begin anew", tuple(details), Tone.NOTE


def _moved_on(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return "The disk failed; the record goes on in another folder", (("why", str(event.data["why"])),), Tone.CAUTION


def _described(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    answers = "; ".join(f"{k}: {v}" for k, v in event.data["answers"].items())
    return f"Described now, from {event.data['from']}", (("answers", answers),), Tone.PLAIN


def _amended(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"It is not wired like that: {event.data['words']}", (), Tone.CAUTION


def _alias(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    return f"Printed there: {d['printed']} where the description says {d['described']}", (), Tone.PLAIN


def _people(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    clear = event.data["clear"]
    return ("Everybody is clear" if clear else "NOT everybody is clear"), (), Tone.PLAIN if clear else Tone.CAUTION


def _stopped(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    if event.data["how"]:
        return f"It stands, its disconnect open ({event.data['how']})", (), Tone.PLAIN
    return "It runs on with its disconnect open", (), Tone.BAD


def _tried(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    rows = tuple((str(row[0]), str(row[1])) for row in event.data["items"])
    return "Which stop was tried, as people remember it", rows, Tone.PLAIN


def _told(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    question = told.QUESTIONS.get(str(event.data["question"]))
    words = question.words if question is not None else str(event.data["question"])
    return f"Asked: {words}", (("said", str(event.data["said"])),), Tone.PLAIN


def _looked(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    differs, same = [], 0
    for item, shown, marked in d["items"]:
        one = expecting.reading(item, d["situation"])
        if (one.should and shown != one.should) or (not one.should and marked):
            differs.append((one.where, f"{shown}" + (f" (should be {one.should})" if one.should else "")))
        else:
            same += 1
    rest = f"{same} as they should be" if expecting.desk is not None else f"{same} not marked"
    program = tuple(("by the program", str(sentence)) for sentence in d.get("program", ()))
    tone = Tone.CAUTION if differs else Tone.PLAIN
    return f"Looked, {d['situation']['words']}", (*differs, ("the rest", rest), *program), tone


def _caution(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    seconds = float(d["drawn_ms"]) / 1000
    text = " ".join(str(line) for line in d["text"])
    details = [("shown", text)]
    before = any(e.kind == "caution" and e.n < event.n and e.data.get("text") == d["text"] for e in events)
    if not before and too_short(d["text"], float(d["drawn_ms"])):
        details.append(("time", "too short to read it in"))
    return f"Caution read by {d['by']}, on the screen for {seconds:.1f} s", tuple(details), Tone.CAUTION


def _reading(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    details = []
    off = bool(d.get("group")) and bool(d["agrees"])  # a confirming test that agrees is read on what is bad
    for item, typed, understood in d["items"]:
        one = expecting.reading(item, d["situation"])
        should = f"should be {one.should}; " if one.should else ""
        details.append((one.where, f"{should}typed {str(typed)!r}, taken as {meant(understood)}"))
        off = off or expecting.off(item, d["situation"], understood)
    details.append(("typed in one go", repr(str(d["said"]))))
    if d.get("group"):
        agrees = "it agrees" if d["agrees"] else "it does NOT agree"
        details.append(("confirming", f"{d['group']}: {agrees}"))
    early = d.get("shown") is False
    if early:
        details.append(("caution", "read before its caution was shown; it counts all the same"))
    what = "Unasked reading" if d["source"] == "unasked" else "Readings"
    return f"{what}, {d['situation']['words']}", tuple(details), Tone.CAUTION if early or off else Tone.PLAIN


def _cannot(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    good = d["reason"] == "unsafe"
    words = "refused as unsafe, a good decision" if good else why_words(str(d["reason"]))
    # A good decision too is for the supervisor: somebody has to make a safe way.
    return f"Could not be done: {d['words']}", (("why", words),), Tone.CAUTION


def _can(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"Can be done now: {event.data['words']}", (("said by", str(event.data.get("by", ""))),), Tone.PLAIN


def _temporary(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"TEMPORARY: {event.data['what']}", (("by", str(event.data["by"])),), Tone.CAUTION


def _clip(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    match event.data["do"]:
        case "begin":
            return "To be read with the leads clipped on dead, no hand near", (), Tone.NOTE
        case "on":
            return f"TEMPORARY: {event.data['what']}", (("by", str(event.data["by"])),), Tone.CAUTION
        case _:
            return f"Taken off, locked off and dead: {event.data['what']}", (("by", str(event.data["by"])),), Tone.PLAIN


def _put_back(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"Put back: {event.data['what']}", (("by", str(event.data["by"])),), Tone.PLAIN


def _putting_back(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"To be put back now: {event.data['what']}", (), Tone.NOTE


def _phase(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"From here on it is read while it is {event.data['to']}", (("by", str(event.data["by"])),), Tone.NOTE


def _watched(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    return f"It has run clean: {d['clean']}", (("said", str(d["said"])), ("by", str(d["by"]))), Tone.NOTE


def _handover(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    page = tuple(("page", str(line)) for line in d["page"])
    return f"{d['by']} hands over to {d['to']}", page, Tone.NOTE


def _choose(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    step = event.data.get("step")
    if step and event.data.get("searched"):
        return f"Looked further ahead: {step['words']}", (), Tone.PLAIN
    if step:
        return f"Went another way: {step['words']}", (), Tone.PLAIN
    return ("Back to the tree" if event.data["source"] == "tree" else "Away from the tree"), (), Tone.PLAIN


def _isolation(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    details = []
    for item, understood in zip(d.get("readings", ()), d.get("understood", ()), strict=False):
        details.append((expecting.reading(item, {}).where, f"taken as {meant(understood)}"))
    if str(d["said"]) != "done":
        details.append(("typed in one go", repr(str(d["said"]))))
    return f"Making safe: {d['words']}", tuple(details), Tone.PLAIN


def _failed(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    where = [
        (expecting.reading(i, {}).where, f"taken as {meant(u)}")
        for i, u in zip(d["readings"], d["understood"], strict=False)
    ]
    return f"NOT proved dead: {d['why']}", (*where, ("typed in one go", repr(str(d["said"])))), Tone.BAD


def _repaired(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    broken = bool(d.get("broken", True))
    sure = "confirmed beforehand" if d["confirmed"] else "NOT confirmed beforehand" if broken else "seen to be so"
    details = [
        ("done", act_words(str(d["act"]), str(d["item"]))),
        ("before it", f"{sure}; {float(d['chance']):.0%} sure"),
    ]
    if d.get("note"):
        details.append(("written", str(d["note"])))
    details += [("hazard told before", str(line)) for line in d.get("told", ())]
    return f"Mended: {d['words']}", tuple(details), Tone.GOOD if d["confirmed"] or not broken else Tone.BAD


def _reset(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    read = tuple(("hazard told before", str(line)) for line in d.get("told", ()))
    return f"{d['tag']} cooled and reset, time {d['times']} in this job, by {d['by']}", read, Tone.CAUTION


def _power(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    read = tuple(("hazard told before", str(line)) for line in d.get("told", ()))
    return f"Power back on, by {d['by']}", read, Tone.CAUTION


def _proved(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    details: list[tuple[str, str]] = []
    seen: list[str] = []
    for item, typed, understood in d["items"]:
        if item[0] == "meter":
            one = expecting.reading(item, d["situation"])
            should = f"should be {one.should}; " if one.should else ""
            details.append((one.where, f"{should}typed {str(typed)!r}, taken as {meant(understood)}"))
        else:
            one = expecting.reading(item, d["situation"])
            if d["passed"] and one.should in ("", str(typed)):
                seen.append(f"{one.where} {typed}")
            else:
                details.append((one.where, f"{typed}" + (f" (should be {one.should})" if one.should else "")))
    if d.get("moves"):
        details.insert(0, ("moved when it must stand", ", ".join(str(tag) for tag in d["moves"])))
    if seen:
        details.append(("seen as it should be", "; ".join(seen)))
    words = str(d["words"]).rstrip(".")
    if d["passed"] and d.get("left_out"):
        return f"Seen as it should be, its readings left out: {words}", tuple(details), Tone.NOTE
    if d["passed"]:
        return f"Proved: {words}", tuple(details), Tone.GOOD
    return f"NOT as it should be: {words}", tuple(details), Tone.BAD


def _ended(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    details = []
    if d.get("second"):
        details.append(("second person", str(d["second"])))
    if d.get("note"):
        details.append(("written", str(d["note"])))
    if d.get("part"):
        details.append(("part", str(d["part"])))
    details += [("wanted", f"{where}: should be {should} ({how})") for where, how, should in d.get("wanted", ())]
    details += [("still temporary", str(what)) for what in d.get("temporary", ())]
    missing = tuple(str(w) for w in d.get("not_proved", ()))
    undone = stops_first(words for words in missing if is_left_out(words))
    details += [("not proved", words) for words in (*undone, *left_open(w for w in missing if not is_left_out(w)))]
    good = d["how"] == "mended" and not undone and not d.get("temporary")
    return f"Ended: {d['how']}", tuple(details), Tone.GOOD if good else Tone.CAUTION


def _note(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    return f"Note: {event.data['text']}", (), Tone.NOTE


def _retract(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    numbers = ", ".join(str(n) for n in event.data["of"])
    return f"Taken back: event {numbers}", (), Tone.NOTE


def _clock(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    was, now = datetime.fromisoformat(str(d["was"])), datetime.fromisoformat(str(d["now"]))
    return (
        f"The clock moved back {_long(-float(d['step_ms']))}", (("by the clock", f"{was:%H:%M:%S}, then {now:%H:%M:%S}"),),
        Tone.CAUTION,
    )  # fmt: skip


def _comment(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    about = int(event.data.get("about", 0))
    return f"{event.data['by']} writes" + (f" of event {about}" if about else ""), (
        ("comment", str(event.data["text"])),
    ), Tone.NOTE  # fmt: skip


def _closed(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    note = str(event.data.get("note", ""))
    return f"{event.data['by']} closes: {event.data['what']}", (("written", note),) if note else (), Tone.GOOD


def _signed(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    d = event.data
    return f"Countersigned by {d['by']}", (("over", f"head {d['head']}:{str(d['head_hash'])[:16]}"),), Tone.GOOD


def _redacted(event: Happened, events: Sequence[Happened], expecting: Expecting) -> Said:
    lines = ", ".join(str(row[0]) for row in event.data["lines"])
    return f"Names and notes were taken out by {event.data['by']}", (("of events", lines),), Tone.NOTE


_TELLERS: Final[Mapping[str, Callable[[Happened, Sequence[Happened], Expecting], Said]]] = {
    "opened": _opened, "complaint": _complaint, "resumed": _resumed, "moved": _moved_on, "described": _described, "amended": _amended,
    "alias": _alias, "people": _people, "stopped": _stopped, "tried": _tried, "told": _told, "looked": _looked,
    "caution": _caution, "reading": _reading, "cannot": _cannot, "can": _can, "temporary": _temporary,
    "clip": _clip, "put back": _put_back, "putting back": _putting_back, "reset": _reset, "phase": _phase, "watched": _watched, "handover": _handover, "choose": _choose, "isolation": _isolation, "failed": _failed, "repaired": _repaired,
    "power": _power, "proved": _proved, "ended": _ended, "note": _note, "retract": _retract, "clock": _clock,
    "comment": _comment, "closed": _closed, "signed": _signed, "redacted": _redacted,
}  # fmt: skip


def known_kinds() -> frozenset[str]:
    """Kinds that are told in words of their own."""
    return frozenset(_TELLERS) | QUIET
