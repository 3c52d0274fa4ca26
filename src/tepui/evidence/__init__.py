"""Row 3: what was measured, reduced to what was true."""
