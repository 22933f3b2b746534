"""A medication preparation safety checklist engine with a tamper-evident audit trail."""

__version__ = "0.1.0"
