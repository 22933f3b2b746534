"""All checks by name and all reasons by code; each lives with its words in a module here."""

from __future__ import annotations

import importlib

from checklist.checks.registry import CHECKS, REASONS, Check, always, check, reason

for _name in (
    "general",
    "ordering",
    "patient",
    "staff",
    "product",
    "equipment",
    "calculation",
    "second",
    "opening",
    "volume",
    "vial",
    "multidose",
    "plastic",
    "diluent",
    "mixing",
    "prefilled",
    "device",
    "suspension",
    "pen",
    "additive",
    "running",
    "line",
    "controlled",
    "labelling",
    "leaving",
    "bedside",
    "giving",
    "events",
    "together",
    "enteral",
):
    importlib.import_module(f"checklist.checks.{_name}")

__all__ = ["CHECKS", "REASONS", "Check", "always", "check", "reason"]
