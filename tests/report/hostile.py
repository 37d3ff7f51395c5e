"""A report whose every word is somebody's attempt: markup, scripts, formulas, typesetting, control characters."""

from __future__ import annotations

from troubleshoot.report.blocks import (
    Bars,
    Facts,
    Heading,
    Items,
    Line,
    Moment,
    Report,
    Shares,
    Span,
    Spans,
    Table,
    Timeline,
    Tone,
    Words,
)

STRINGS = (
    "<script>document.body.id='owned';fetch('{url}/fetch')</script>",
    "<img src={url}/img onerror=\"document.body.id='owned'\">",
    "\"><svg onload=document.body.id='owned'><image href={url}/svg />",
    "</style><style>@import '{url}/css';</style>",
    "<link rel=stylesheet href={url}/link><iframe src={url}/frame></iframe>",
    "<meta http-equiv=refresh content='0;url={url}/refresh'>",
    "<a href=javascript:document.body.id='owned' ping={url}/ping>x</a>",
    "{{ 7*7 }}{% for x in ().__class__.__base__.__subclasses__() %}x{% endfor %}",
    "]] #eval(\"1\") #image(\"/etc/passwd\") #include \"x\" $ x $ *bold* _it_ `raw` \\ @ref <label>",
    "=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(1)", "\t=1", "\r=1", "'=1", " =1", "|x", "%x", "\x0c@", "\u200b=1", "\x1c+1", "\uff1d1",
    "\x1b[31m\x1b]0;t\x07", "\u202eabc\u202c", "\x00nul", "\ud800 lone", "a\u0300\u0301\u0302\u0303", "line\nline",
    "-5", "120.5", "",
)  # fmt: skip


def hostile(url: str = "http://127.0.0.1:9") -> Report:
    """The report. url: where it tries to reach."""
    words = tuple(s.replace("{url}", url) for s in STRINGS)
    blocks: list[object] = []
    for s in words:
        blocks += [
            Heading(s), Words(s, Tone.BAD), Facts(((s, s),)), Items((s,), s), Items((), s),
            Table(f"t{len(blocks)}", (s, "b"), ((s, s),)),
            Timeline((Moment(1, s, s, ((s, s),), Tone.CAUTION, True),)),
        ]  # fmt: skip
    return Report(
        words[0],
        (
            *blocks,  # type: ignore[arg-type]
            Shares(words[0], words, tuple(Line(s, ((0.0, 0.5), (1.0, 1.0))) for s in words[:4])),
            Spans(words[1], tuple(Span(s, 1.0, 2.0, 1.5, s[:4], s) for s in words)),
            Bars(words[2], tuple((s, float(k), s) for k, s in enumerate(words))),
        ),
        ((words[0], 3, words[1]),),
        words[2],
    )
