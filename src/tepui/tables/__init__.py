"""Published numbers: a CSV and a source card each, one loader."""
