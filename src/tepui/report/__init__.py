"""Row 6: figures, in one look."""
