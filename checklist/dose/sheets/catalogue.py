"""All sheets by name, in the order in which they are listed."""

from collections.abc import Mapping
from types import MappingProxyType

from checklist.dose.sheets import amounts, infusion, solutions, stock
from checklist.dose.sheets.names import NAMES
from checklist.dose.sheets.sheet import Sheet

_MADE = {
    sheet.name: sheet for part in (amounts, solutions, infusion, stock) for sheet in part.SHEETS
}

SHEETS: Mapping[str, Sheet] = MappingProxyType({name: _MADE[name] for name in NAMES})
