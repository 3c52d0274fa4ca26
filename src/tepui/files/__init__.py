"""Formats on the disk: recordings, streams and what else is read and written; every write is whole or not at all."""
