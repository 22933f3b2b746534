"""What is in force when a preparation is opened, as its opening entry keeps it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from checklist import __version__, register, way_in
from checklist.intake.ward import Ward
from checklist.order import Order
from checklist.way_in import Item
from checklist.workflow import Workflow


def in_force(ward: Ward, workflow: Workflow, order: Order, items: Sequence[Item]) -> dict[str, Any]:
    """The ward's settings, editions and stock, the container and what the drugs come in."""
    unit, formulary, together = ward.unit, ward.formulary, ward.compatibility
    return {
        "unit": {"code": unit.code, "digest": unit.digest, "settings": _plain(unit.settings)},
        "formulary": {"edition": formulary.edition, "digest": formulary.digest},
        "compatibility": {"edition": together.edition, "digest": together.digest},
        "software": __version__,
        "container": workflow.container,
        "register": register.digest(unit.register),
        **way_in.recorded(order, items),
    }


def _plain(settings: Mapping[str, str | int | tuple[str, ...]]) -> dict[str, str | list[str]]:
    """The unit's choices in force as plain JSON data, numbers as text."""
    return {k: list(v) if isinstance(v, tuple) else str(v) for k, v in settings.items()}
