"""The published tables that checks compare with, bundled for handing in."""

from __future__ import annotations

from dataclasses import dataclass

from checklist import ampoule, needle, site, syringe


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Syringes, needles, ampoules and injection sites, each read from its file."""

    syringes: syringe.Table
    needles: needle.Table
    ampoules: ampoule.Table
    sites: site.Table
