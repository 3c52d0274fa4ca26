"""The last link: samples to transport stream, blind, and every figure of merit met on the way."""
