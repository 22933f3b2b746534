"""People who sign in for the tests: cheap PINs in a real file, and a station where all do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from checklist.answer import Answer
from checklist.credential import Cost, CredentialFile
from checklist.intake.ward import Ward
from checklist.order import Call
from checklist.preparation import Preparation
from checklist.screen import Outcome
from checklist.station import NotHere, NotSignedIn, Station
from checklist.verdict import Remedy
from checklist.workflow import Who

CHEAP = Cost(passes=1, memory=8, lanes=1)
"""The least that Argon2 takes (RFC 9106: 8 KiB a lane), so that thousands can sign in."""


def pin_of(code: str) -> str:
    """The PIN of a person in the tests."""
    return f"pin of {code}!"


def set_pins(path: Path, codes: tuple[str, ...]) -> CredentialFile:
    """A file of credentials with a PIN for each of these people."""
    keeper = CredentialFile(path, CHEAP)
    for code in codes:
        keeper.keep(code, pin_of(code), given=False, between=lambda: None)
    return keeper


@cache
def _written(codes: tuple[str, ...]) -> bytes:
    with TemporaryDirectory() as folder:
        return set_pins(Path(folder) / "credentials.json", codes).path.read_bytes()


def pins_for(ward: Ward, path: Path) -> CredentialFile:
    """The file of credentials of a whole ward; the hashes are made once and copied."""
    path.touch(mode=0o600)
    path.write_bytes(_written(tuple(sorted(ward.staff))))
    return CredentialFile(path, CHEAP)


class Attended(Station):
    """A station where whoever acts signs in first with the right PIN, where that is still needed.

    So it is a station like any other, and people at it do as they should.
    """

    def come(self, by: str, id_: str = "") -> None:
        """Sign the person in: for the present step where it is a second person's, else plainly."""
        if by not in self.ward.staff or not self.ward.staff[by].active:
            return
        if id_:
            prep = self.find(id_)
            if not prep.closed and self._for_second(prep, by):
                step = self.rules_of(prep.workflow).layout.base(prep.place).place
                if not self._attendance.is_second(by, prep.id, step):
                    self.sign_in(by, pin_of(by), second_for=id_)
                return
        try:
            self._attendance.present(self.ward, by)
        except (NotHere, NotSignedIn):
            self.sign_in(by, pin_of(by))

    def _for_second(self, prep: Preparation, by: str) -> bool:
        spot = self.rules_of(prep.workflow).layout.base(prep.place)
        if spot.step.who in (Who.CHECKER, Who.WITNESS):
            return spot.place == prep.place or by != prep.preparer
        kept = {one.code for one in prep.standing} & set(self.ward.unit.second_person_cautions)
        return bool(kept) and by != prep.preparer

    def open(
        self, order_id: str, by: str, *, container: str = "", sources: Sequence[str] = ()
    ) -> Outcome:
        self.come(by)
        return super().open(order_id, by, container=container, sources=sources)

    def open_call(self, call: Call, by: str, *, sources: Sequence[str] = ()) -> Outcome:
        self.come(by)
        return super().open_call(call, by, sources=sources)

    def attempt(
        self, id_: str, answers: Mapping[str, Answer], by: str, *, turn: int | None = None
    ) -> Outcome:
        self.come(by, id_)
        return super().attempt(id_, answers, by, turn=turn)

    def remedy(
        self, id_: str, remedy: Remedy, by: str, *, note: str = "", turn: int | None = None
    ) -> Outcome:
        self.come(by, id_)
        return super().remedy(id_, remedy, by, note=note, turn=turn)

    def proceed(
        self, id_: str, because: str, by: str, *, note: str = "", turn: int | None = None
    ) -> Outcome:
        self.come(by, id_)
        return super().proceed(id_, because, by, note=note, turn=turn)

    def resume(self, id_: str, by: str) -> Outcome:
        self.come(by, id_)
        return super().resume(id_, by)

    def end(self, id_: str, because: str, by: str, *, note: str = "") -> Outcome:
        self.come(by, id_)
        return super().end(id_, because, by, note=note)

    def note(
        self, id_: str, text: str, by: str, *, about: int | None = None, ours: bool = False
    ) -> Outcome:
        self.come(by)
        return super().note(id_, text, by, about=about, ours=ours)

    def show_target(self, id_: str, by: str) -> tuple[Outcome, tuple[str, ...]]:
        self.come(by, id_)
        return super().show_target(id_, by)
