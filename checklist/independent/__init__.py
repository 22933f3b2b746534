"""A program that checks a trail's proofs and shares no code with the rest."""
