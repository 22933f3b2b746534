"""An observation of a preparation: the entries it is made of, and what they add up to.

Observations are entries of a trail of their own that lies beside the unit's. It is the same kind of
file, so nothing in it is changed or lost unseen, and writing in it never makes a nurse wait or move
a preparation on. Each observation is a thread of entries there: its first names the preparation,
the entry of the unit's trail that it stood at and the workflow whose items are looked for; the
others hold answers, corrections of answers and words. A correction is a new entry with a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from checklist.engine import Stamp
from checklist.preparation import Entry, Event
from checklist.signature import REVIEWED
from checklist.trail import SealedText
from checklist.workflow import Technique

OBSERVATION = "observation"
OBSERVING, OBSERVED = "observing", "observed"
SEEN, NOT_SO, NOT_OBSERVABLE = "seen", "not so", "not observable"
ANSWERS = (SEEN, NOT_SO, NOT_OBSERVABLE)
DURING, AFTER = "during", "after"
WORDS = {
    "learner_well": "What went well, in the learner's words",
    "learner_change": "What to change, in the learner's words",
    "learner_skipped": "Why the learner says nothing",
    "well": "What went well",
    "change": "What to change",
    "next_step": "The next step that was agreed",
}
"""The free words of a talk afterwards, in the order in which they are asked: the learner first."""
LEARNERS = ("learner_well", "learner_change")
SKIPPED = "learner_skipped"
OBSERVERS = ("well", "change", "next_step")
"""The observer's own words, which wait until the learner's are there or were left out for a reason.
Common practice in debriefing: one's own view first."""


class NotObserved(Exception):
    """An answer or word that an observation cannot take; the message says what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was answered about one item; `remark` is the reference of its sealed text or ""."""

    word: str
    remark: str
    at: datetime
    corrected: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """One observation: the fold of its entries.

    `about` is the preparation, `person` whoever prepared it. `seq` and `digest` are the entry of
    the unit's trail at which it stood when the observation began. `words` maps a name of WORDS to
    the reference of its sealed text. `due` is the day agreed for the next step.
    """

    id: str
    turn: int
    place: str
    about: str
    person: str
    observer: str
    container: str
    workflow: str
    when: str
    seq: int
    digest: str
    begun: datetime
    last: datetime
    items: tuple[Technique, ...]
    answers: Mapping[str, Answer] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    due: date | None = None

    @property
    def finished(self) -> bool:
        """Whether the observer said that it is complete; corrections are still taken."""
        return self.place == OBSERVED

    @property
    def learner_heard(self) -> bool:
        """Whether the learner's words are there, or a reason why there are none."""
        return bool({*LEARNERS, SKIPPED} & self.words.keys())

    @property
    def left(self) -> tuple[Technique, ...]:
        """The items that nothing is said about yet."""
        return tuple(one for one in self.items if one.name not in self.answers)

    def answered(self, word: str, *, critical: bool = False) -> tuple[Technique, ...]:
        """The items that have this answer; the critical ones only where that is asked."""
        return tuple(
            one
            for one in self.items
            if one.name in self.answers
            and self.answers[one.name].word == word
            and (one.critical or not critical)
        )


def begun(
    id_: str,
    last: Entry,
    *,
    person: str,
    container: str,
    workflow: str,
    items: Sequence[Technique],
    when: str,
    stamp: Stamp,
) -> Event:
    """Propose an observation of the preparation whose newest entry is `last`."""
    return stamp.event(
        id_,
        0,
        "opened",
        {
            "form": OBSERVATION,
            "about": last.event.preparation,
            "person": person,
            "container": container,
            "workflow": workflow,
            "when": when,
            "seq": str(last.seq),
            "digest": last.digest.hex(),
            "items": [
                {"name": i.name, "say": i.say, "step": i.step, "critical": i.critical}
                for i in items
            ],
        },
        lands=OBSERVING,
    )


def answered(
    watch: Watch,
    answers: Mapping[str, tuple[str, str]],
    stamp: Stamp,
    new_id: Callable[[], str],
    *,
    because: str = "",
) -> tuple[Event, tuple[SealedText, ...]]:
    """Propose answers: item to word and remark. An item that has one already is corrected.

    A correction takes a reason in `because`. Remarks and reasons are sealed. Raises NotObserved.
    """
    _by_observer(watch, stamp)
    known = {one.name for one in watch.items}
    again = [name for name in answers if name in watch.answers]
    for name, (word, _) in answers.items():
        if name not in known:
            raise NotObserved(f"{name!r} is no item of this observation. Items: {_list(known)}.")
        if word not in ANSWERS:
            raise NotObserved(f"{word!r} is no answer. There are: {', '.join(ANSWERS)}.")
    if not answers:
        raise NotObserved("There is no answer to record. Name an item and what was seen of it.")
    if again and not because.strip():
        raise NotObserved(
            f"{_list(again)}: answered already. A correction is a new entry and takes a reason;"
            " the first answer stays to be seen."
        )
    texts: list[SealedText] = []
    body: dict[str, Any] = {
        "answers": [
            {"item": name, "answer": word, "remark": _sealed(texts, "remark", text, new_id)}
            for name, (word, text) in answers.items()
        ],
        "corrects": again,
        "because": _sealed(texts, "because", because if again else "", new_id),
    }
    return _noted(watch, body, stamp), tuple(texts)


def said(
    watch: Watch,
    words: Mapping[str, str],
    stamp: Stamp,
    new_id: Callable[[], str],
    *,
    due: date | None = None,
    finish: bool = False,
) -> tuple[Event, tuple[SealedText, ...]]:
    """Propose the words of the talk afterwards, all sealed; `finish` says that it is complete.

    The learner's words may come from the learner, who has signed in; everything else is the
    observer's. Raises NotObserved for a word that is not asked for, for the observer's words before
    the learner's, and for finishing with items left open.
    """
    given = {name for name, text in words.items() if text.strip()}
    if not (stamp.by == watch.person and given and given <= {*LEARNERS}) or due or finish:
        _by_observer(watch, stamp)
    for name in words:
        if name not in WORDS:
            raise NotObserved(f"{name!r} is not asked for. There are: {', '.join(WORDS)}.")
    if given & {*OBSERVERS} and not (watch.learner_heard or given & {*LEARNERS, SKIPPED}):
        raise NotObserved(
            "The learner speaks first. Record the learner's words, or as `learner_skipped` the"
            " reason why there are none; then your own."
        )
    if finish and watch.left:
        raise NotObserved(
            f"{len(watch.left)} of {len(watch.items)} items have no answer yet, the first is"
            f" {watch.left[0].name!r}. Answer them; what could not be seen is `not observable`."
        )
    texts: list[SealedText] = []
    kept = {name: _sealed(texts, name, text, new_id) for name, text in words.items() if text}
    body = {"words": kept, "due": due.isoformat() if due else ""}
    lands = OBSERVED if finish or watch.finished else OBSERVING
    return replace(_noted(watch, body, stamp), lands=lands), tuple(texts)


def watch_of(entries: Iterable[Entry]) -> Watch | None:
    """The observation that these entries of one thread add up to; None for another thread."""
    watch: Watch | None = None
    for entry in entries:
        event, body = entry.event, entry.event.body
        if watch is None:
            if event.kind != "opened" or body.get("form") != OBSERVATION:
                return None
            watch = _first(event)
            continue
        found = dict(watch.answers)
        for one in body.get("answers", []):
            earlier = found.get(one["item"])
            found[one["item"]] = Answer(
                word=one["answer"],
                remark=one["remark"],
                at=event.at,
                corrected=earlier.corrected + 1 if earlier else 0,
            )
        due = body.get("due", "")
        watch = replace(
            watch,
            turn=event.turn,
            place=event.lands,
            last=event.at,
            answers=found,
            words={**watch.words, **body.get("words", {})},
            due=date.fromisoformat(due) if due else watch.due,
        )
    return watch


def _first(event: Event) -> Watch:
    body = event.body
    return Watch(
        id=event.preparation,
        turn=event.turn,
        place=event.lands,
        about=body["about"],
        person=body["person"],
        observer=event.by,
        container=body["container"],
        workflow=body["workflow"],
        when=body["when"],
        seq=int(body["seq"]),
        digest=body["digest"],
        begun=event.at,
        last=event.at,
        items=tuple(Technique(**one) for one in body["items"]),
    )


def _by_observer(watch: Watch, stamp: Stamp) -> None:
    if stamp.by != watch.observer:
        raise NotObserved(
            f"This observation is {watch.observer}'s. Begin one of your own: two observers who"
            " looked apart can be compared."
        )


def _noted(watch: Watch, body: Mapping[str, Any], stamp: Stamp) -> Event:
    return stamp.event(
        watch.id,
        watch.turn + 1,
        "noted",
        {**body, "meaning": REVIEWED},
        place=watch.place,
        lands=watch.place,
    )


def _sealed(texts: list[SealedText], name: str, text: str, new_id: Callable[[], str]) -> str:
    """The reference of a text that is sealed, or "" where there is none."""
    if not text.strip():
        return ""
    plain = text.strip().encode("utf-8", "backslashreplace").decode().replace("\x00", "\\x00")
    texts.append(SealedText(reference=new_id(), field=name, text=plain))
    return texts[-1].reference


def _list(names: Iterable[str]) -> str:
    return ", ".join(sorted(names))
