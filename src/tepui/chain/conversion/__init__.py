"""Lifting the modulator's signal to the channel: mixing products, mixers, oscillators and their phase noise."""
