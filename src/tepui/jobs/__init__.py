"""Row 5: one module per verb: nouns in, findings out; no disk, no screen. Findings are born here and nowhere else."""
