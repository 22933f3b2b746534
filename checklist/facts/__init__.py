"""What a trail says, as tables of facts that questions are asked of; no label, no judgement."""
