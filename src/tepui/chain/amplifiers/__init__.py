"""Amplifiers: what they add to a signal that peaks ten decibels above its mean; ``models`` has no memory."""
