"""Signs the acts of a station that ask for it, and keeps the heads of its trail elsewhere."""

from __future__ import annotations

from checklist import codec, signature
from checklist.heads import Heads, NotKeptOutside
from checklist.note import Note
from checklist.preparation import CLOSED, Act, Entry, Event
from checklist.signing import Keys, Signer
from checklist.trail import Attest, Trail


class Notary:
    """The keys of a station, and the folder where the heads of its trail are kept.

    `trouble` says, in a sentence, that the last head could not be kept; work goes on then, since
    the trail itself is whole, but somebody has to be told. A head that does not go on from the
    last one stops the work: HeadLost. `due` says that a head was asked for in the middle of what is
    recorded together: it is signed by the next `checkpoint`, once that is on the disk.
    """

    def __init__(self, trail: Trail, keys: Keys, heads: Heads) -> None:
        self._trail = trail
        self._keys = keys
        self._heads = heads
        self.trouble = ""
        self.due = False

    def attest(self, event: Event) -> Attest | None:
        """What makes the signature of an event's entry; None for one that asks for none.

        Raises KeyFault, before anything is recorded, when there is no key to sign with.
        """
        return attest(self._trail.origin.id, self._keys, event)

    def after(self, entry: Entry) -> None:
        """Keep the trail's head after a refusal and after the end of a preparation."""
        if entry.event.kind == "refused" or entry.event.lands in CLOSED:
            self.checkpoint()

    def checkpoint(self) -> Note | None:
        """Sign the trail's head now and keep it; None where nothing is recorded, or in trouble.

        None as well within Trail.together, where nothing is on the disk yet: then it is `due`.
        Raises HeadLost, KeyFault.
        """
        self.due = self._trail.is_together
        if self.due:
            return None
        try:
            note = self._heads.sign(self._trail, self._keys.device())
        except NotKeptOutside as fault:
            self.trouble = str(fault)
            return None
        self.trouble = ""
        return note


def attest(trail_id: str, keys: Keys, event: Event) -> Attest | None:
    """What makes the signature of an event's entry in this trail; None where none is asked for.

    Raises KeyFault when there is no key to sign with.
    """
    meaning = signature.asks(event.kind, event.body)
    if not meaning:
        return None
    signer = keys.for_acts_of(event.by)
    return lambda entry: signing_act(trail_id, entry, meaning, signer)


def signing_act(trail_id: str, entry: Entry, meaning: str, signer: Signer) -> Act:
    """The act that signs an entry, for the person who made it and at its time."""
    event, digest = entry.event, entry.digest.hex()
    at = codec.time_out(event.at)
    content = signature.signed_bytes(trail_id, entry.seq, digest, meaning, event.by, at)
    return Act(
        id=f"{event.id}-signed",
        kind=signature.KIND,
        at=event.at,
        by=event.by,
        station=event.station,
        channel=event.channel,
        body=signature.body(entry.seq, digest, meaning, str(signer.key()), signer.sign(content)),
    )
