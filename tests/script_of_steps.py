"""The forms of one preparation from its order to a labelled syringe, taken down to be sent again.

They are what a nurse's own pages would send, played once in this process; for another nurse of a
busy ward only the patient's identifiers differ.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests import busy_ward
from tests.scene import LABELS
from tests.web import Tablet, make_desk, tablets
from tests.web_nurse import Clock, Shift

LAST = "leave_the_area"
"""The step before which the script stops: what comes after is at the bedside."""
Form = dict[str, str]


def taken_down(home: Path, ward: Path) -> list[Form]:
    """The forms that the first nurse of a busy ward sends, in order; each has its turn."""
    forms: list[Form] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(LABELS, busy_ward.order(1), LABELS[busy_ward.ORDER])
        clock = Clock()
        desk = make_desk(home, patch, ward=ward, clock=clock)
        with tablets(desk) as (tablet,):
            shift = Shift(desk, tablet, busy_ward.order(1), clock)
            _begin(shift, tablet)
            usual = tablet.post

            def post(url: Any, **more: Any) -> Any:
                forms.append(dict(more["data"]))
                return usual(url, **more)

            tablet.post = post  # type: ignore[method-assign]
            shift.to(LAST)
            shift.beside.close()
    return forms


def for_nurse(forms: list[Form], number: int) -> list[Form]:
    """The same forms for another nurse, whose patient bears other identifiers."""
    pairs = list(zip(busy_ward.identifiers(1), busy_ward.identifiers(number), strict=True))

    def changed(text: str) -> str:
        for one, other in pairs:
            text = text.replace(one, other)
        return text

    return [{name: changed(value) for name, value in form.items()} for form in forms]


def _begin(shift: Shift, tablet: Tablet) -> None:
    answer = tablet.sign_in(busy_ward.code(1), busy_ward.pin(1), place=busy_ward.place(1))
    assert answer.status_code == 303, answer.text
    shift.person = busy_ward.code(1)
    answer = tablet.post("/orders", data={"order": shift.order})
    assert answer.status_code == 303, answer.text
    shift.beside.id = answer.headers["location"].rpartition("/")[2]
