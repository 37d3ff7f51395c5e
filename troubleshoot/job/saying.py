"""What a complaint says in people's own words: what is wrong, and whether the machine moves when it must not. Pure.

"Not running" and "keeps running" share most letters and are opposites, so likeness of words alone never decides between a
dead machine and a runaway: words are read for their sense first, negations and typing slips included. The lists are common
practice, no published source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Final

from rapidfuzz import fuzz, process

from troubleshoot.safety.doings import UNBIDDEN

SLIP: Final = 80.0
"""Likeness (0 to 100) from which an unknown word is a known one with a slip of the finger."""
_LEAST: Final = 4
"""Letters below which a word is too short to tell a slip from another word."""

_SAME: Final[dict[str, str]] = {
    word: tag
    for tag, words in {
        "NOT": "wont dont doesnt isnt arent cant cannot couldnt didnt aint wouldnt hasnt wasnt not never refuses refuse refusing "
        "fails failing unable nt no",
        "RUN": "run runs running ran go goes going move moves moving turn turns turning spin spins spinning work works working "
        "rotate rotates rotating budge budges budging",
        "START": "start starts starting started restart restarts fire fires kick kicks crank cranks come comes begin boot",
        "STOP": "stop stops stopping stopped quit quits quitting halt halts halting estop stopp",
        "KEEP": "keeps keep kept keeping still carries carry constantly continues continue continuously always",
        "NOTHING": "nothing nowt zilch nada",
        "SELF": "itself alone own unasked unbidden nobody noone spontaneously",
        "LET": "let release released releasing releases",
        "HOLD": "hold holds holding stay stays staying latch latches latching seal seals latched",
        "HUM": "hum hums humming hummed growl growls growling groans groan groaning buzz buzzes buzzing drone drones moans",
        "CHATTER": "chatter chatters chattering rattle rattles rattling clatter clatters clattering flutters fluttering",
        "TRIP": "trip trips tripping tripped overload overloads ol thermal thermals",
        "FUSE": "fuse fuses",
        "LAMP": "light lights lamp lamps led leds indicator indicators pilot",
        "BACKWARD": "backward backwards backwords",
        "WAIT": "wait waits waiting",
        "DEAD": "dead died dies kaput lifeless defunct bust busted knackered",
        "NOW": "sometimes occasionally randomly random intermittent intermittently sporadically sporadic",
    }.items()
    for word in words.split()
}  # fmt: skip
"""Words that say the same here, by what they stand for."""
_OTHERS: Final = [
    "brake",
    "brakes",
    "drag",
    "drags",
    "dragging",
    "slips",
    "slip",
    "slipping",
    "jog",
    "reverse",
    "lower",
    "contactor",
    "relay",
    "starter",
    "button",
    "pump",
    "pumps",
    "pumping",
    "lift",
    "lifts",
    "lifting",
    "feed",
    "feeds",
    "feeding",
    "shut",
    "switch",
    "down",
    "away",
    "anything",
    "happens",
    "happening",
    "hot",
    "smell",
    "smells",
    "wrong",
    "direction",
    "forward",
    "only",
    "shift",
    "twice",
    "motor",
    "conveyor",
    "turntable",
    "mixer",
    "crusher",
    "slow",
    "slowly",
    "stuck",
    "jammed",
    "movement",
    "noise",
    "power",
    "life",
    "after",
    "when",
    "while",
    "until",
    "nothing",
    "happened",
    "properly",
    "right",
    "creeps",
    "creep",
    "creeping",
    "rolls",
    "drifts",
    "coasts",
    "blows",
    "blown",
    "blowing",
    "pops",
    "breaker",
    "match",
    "conv",
    "belt",
    "fan",
    "hoist",
    "sequence",
    "doing",
    "does",
    "done",
    "coming",
    "runaway",
    "emergency",
    "dark",
    "first",
    "again",
    "before",
    "control",
    "full",
    "speed",
    "fast",
    "smooth",
    "weak",
    "strong",
    "warm",
    "loud",
    "noisy",
    "low",
    "high",
    "leaks",
    "broken",
    "handle",
    "guard",
    "cover",
    "cable",
    "shaft",
    "gearbox",
    "chain",
]
"""Words that are not slips of others."""
_PLANT: Final = ("grain", "grains", "crane", "cranes", "lathe", "lathes", "station", "stations")
"""What plants have and drive, where one letter makes it a word of trouble: a grain elevator does not groan."""
_KNOWN: Final = (*_SAME, *_OTHERS, *_PLANT)

_FILL: Final = (
    r"(?: (?:it|to|the|me|us|even|want|wants|wanting|be|been|get|getting|at|all|up|over|this|that|thing|just|when|i|you|we|"
    r"told|asked|bloody|damn|do|does|any|more|anymore|longer|in|out of|is|motor|belt|pump|conveyor|fan))*?"
)
_WELL: Final = r"(?! (?:right|properly|well|smooth|smoothly|fast|slow|slowly|full|steady|good|straight))"
_LET_GO: Final = r"(?:LET|take|lift|off the button|let up)"

RULES: Final[tuple[tuple[str, str], ...]] = (
    ("wont-lower", rf"NOT{_FILL}(?: RUN| START)? (?:down|lower)\b"),
    ("wont-reverse", rf"NOT{_FILL}(?: RUN| START)?(?: in| into)? (?:reverse|back\b|backup)|forward only|only (?:\w+ )?forward"),
    ("starts-itself", r"(?:START|RUN)(?: \w+){0,4}? (?:SELF|nobody|NOT one)\b|START (?:when|as soon as|after) (?:the )?power|"
                      r"START when (?:i|you|we) reset|SELF(?: \w+)? (?:START)"),
    ("wont-hold", rf"NOT{_FILL} (?:HOLD|RUN HOLD|KEEP RUN|KEEP in)|(?:STOP|drops|drop|dropped|DEAD|cuts|cut|falls|out)(?: \w+){{0,4}}? {_LET_GO}\b"
                  r"|RUN only (?:while|when|as|if)|only RUN (?:while|when|as|if)|RUN (?:only )?(?:while|as long as) (?:i|you|we) (?:HOLD|press)"
                  r"|drops (?:back )?out (?:when|as soon)"),
    ("wont-stop", rf"NOT{_FILL} STOP(?! (?:by|on|now|NOW))|KEEP (?:on )?(?:RUN|pumping|pump|lifting|feeding)|RUN on(?= after| and| for|$)|RUN past|"
                  rf"RUN (?:\w+ )?after(?: \w+){{0,3}}? (?:LET|STOP|off)|NOT{_FILL} (?:RUN|shut|switch|START|turn)(?: it| them)? off|"
                  rf"NOT{_FILL} shut (?:it )?down|(?:STOP|\boff|emergency)(?: (?:button|switch|stop|STOP|on|the|it|is|has|wire)){{0,3}} "
                  r"(?:(?:does|do|did|doing|has) )?(?:NOTHING|DEAD|NOT (?:RUN|do|react|respond|anything)|broken)|runaway|RUN away"),
    # "Twice a shift" says how often, "after the shift" only when.
    ("stops-itself", r"(?:STOP|cuts|cut|drops|dropped|dropping|cutting|shuts|DEAD)(?: \w+){0,5}? "
                     r"(?:SELF|NOW|now and then|every|once in|(?:once|twice|time|times|\d+|two|three|four|five|few|several) (?:a|per|each|in a) shift|(?:per|each) shift)\b|"
                     r"KEEP STOP|(?:cuts|cutting|cut|drops|dropping|drop|DEAD) out\b|NOW(?: \w+)? STOP|(?:every now and|now and) then"),
    ("wont-start", rf"NOT{_FILL} (?:RUN|START|do|doing|pump|pumping|feed|feeding|lift|lifting|turn over|response|life|movement|reaction|sign){_WELL}|"
                   r"DEAD|NOTHING|NOT power|(?:is|are|gone) down\b"),
)  # fmt: skip
"""Sense to how it is said, the more particular first; what one has taken the next ones do not see."""
BESIDE: Final[tuple[tuple[str, str], ...]] = (
    ("hums", r"HUM|(?:motor )?noise but NOT"), ("chatters", r"CHATTER|(?:contactor|relay|starter)(?: \w+)? HUM|in and out"),
    ("trips-overload", r"TRIP|START out"), ("blows-fuse", r"FUSE|blows?\b|blown"), ("waits", "WAIT"),
    ("wrong-way", r"BACKWARD|wrong (?:way|direction)|(?:other|opposite) (?:way|direction)"),
)  # fmt: skip
"""What may be said together with another sense."""
ALONE: Final[tuple[tuple[str, str, str], ...]] = (
    ("jog-latches", r"\bjog", r"HOLD|KEEP|NOT|stuck|sticks"),
    ("brake-drags", r"\bbrakes?\b", rf"drag|HOLD on|hot|smell|stuck|NOT{_FILL} (?:LET|lift|open|free|START off|RUN off|off)|locked|warm|KEEP on|binds|rubs"),
    ("brake-slips", r"\bbrakes?\b", rf"slip|weak|NOT{_FILL} (?:HOLD|grip|set|STOP|bite|RUN)|soft|fade"),
    ("brake-slips", r"", r"(?<!NOT )RUN back\b|(?:rolls?|creeps?|drifts?|sinks?) (?:back|down)\b"),
    ("light-lies", r"LAMP", r"lies|wrong|dark|\boff\b|\bout\b|DEAD|\bon\b|HOLD|NOT|match|lit|dim"),
)  # fmt: skip
"""A thing that is named, and what is said of it: it is about that thing and no other."""


def plain(text: str) -> str:
    """The words with what stands for the same written the same: ``conv isn't runnin`` is ``conv NOT RUN``."""
    letters = text.casefold().replace("\u2019", "'").replace("e-stop", "estop").replace("'", "")
    return " ".join(_word(w) for w in re.findall(r"[^\W_]+", letters))


@cache
def _word(word: str) -> str:
    if word in _SAME:
        return _SAME[word]
    if word in _OTHERS or word in _PLANT or len(word) < _LEAST or any(c.isdigit() for c in word):
        return word
    near = process.extractOne(word, _KNOWN, scorer=fuzz.ratio, score_cutoff=SLIP)
    return _SAME.get(near[0], near[0]) if near is not None and near[0][0] == word[0] else word


@cache
def senses(text: str) -> frozenset[str]:
    """Symptoms (names of trees) that the words tell of; empty where they tell of none that is known here."""
    said = plain(text)
    for name, about, what in ALONE:
        if re.search(about, said) and re.search(what, said):
            return (_beside_the_lamp(text) if name == LIGHT else frozenset()) or frozenset({name})
    found = {name for name, pattern in BESIDE if re.search(pattern, said)}
    if "chatters" in found:
        found.discard("hums")
    for name, pattern in RULES:
        rest = re.sub(pattern, ";", said)
        if rest != said:
            found.add(name)
            said = rest
    if "wont-stop" in found and re.search(r"NOT.*\b(?:off|shut)", plain(text)):
        found.discard("wont-start")
    return frozenset(found)


LIGHT: Final = "light-lies"
_CLAUSES: Final = re.compile(r"[,;.!:]+\s|\s[-\u2013]\s|\b(?:and|but)\b")


def _beside_the_lamp(text: str) -> frozenset[str]:
    """What is told besides of a lamp: ``won't start, green light dark`` is about the machine, its lamp only shows it."""
    apart = [clause for clause in _CLAUSES.split(text) if clause.strip() and "LAMP" not in plain(clause).split()]
    return frozenset().union(*map(senses, apart)) - {LIGHT}


_ONE_PHASE: Final = re.compile(
    r"\b(?:single|split)[\s-]*phase\b|\b1[\s-]*ph\b|\b(?:one|1)[\s-]*phase\b(?! (?:is |was )?(?:loss|lost|missing|gone|dead|out|off|low))"
    r"|\b1\s*~|\bcapacitor[\s-]*(?:start|run|motor)",
    re.IGNORECASE,
)
_PHASE_LOST: Final = re.compile(r"\b(?:lost|missing|missed|loses|drops|no) (?:one|a single|1) phase\b", re.IGNORECASE)


def single_phase(text: str) -> bool:
    """Whether somebody speaks of a single-phase motor. One that is "single-phasing" has three and lost one."""
    return bool(_ONE_PHASE.search(_PHASE_LOST.sub(" ", text)))


def runs_on(text: str) -> bool:
    """Whether the words may mean that it moves when it must not: making safe waits for no question."""
    return bool(senses(text) & UNBIDDEN)


Rank = tuple[int, float]
"""How much of what was said a complaint's own words tell, and how alike they are (0 to 100)."""


def rank(text: str, complaint: str, known: Iterable[str]) -> tuple[Rank, frozenset[str]]:
    """How well a complaint fits what was said, and which senses of it its own words tell.

    A complaint whose words tell something that was not said does not fit, however alike they are; one of a machine that
    moves when it must not fits only where just that was said.
    """
    said, words = senses(text), plain(text)
    told = [(s, fuzz.token_sort_ratio(words, plain(k))) for k in known if (s := senses(k))]
    within = [(len(s), near, s) for s, near in told if s <= said]
    if within:
        count, near, which = max(within, key=lambda one: one[:2])
        return (count, near), which
    likeness = max((_likeness(words, plain(k)) for k in known if not senses(k)), default=0.0)
    if said or complaint in UNBIDDEN or likeness < LITERAL:
        likeness = min(likeness, UNSURE)
    return (0, likeness), frozenset()


def _likeness(said: str, known: str) -> float:
    """0 to 100; all where every word of `known` was said."""
    return 100.0 if set(known.split()) <= set(said.split()) else fuzz.token_sort_ratio(said, known)


LITERAL: Final = 88.0
"""Likeness from which words that tell no sense known here count as a complaint's own words."""
UNSURE: Final = 50.0
"""Likeness that other words have with it at most: it is asked for."""
