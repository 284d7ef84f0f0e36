"""Marked footage: the folder that people mark in, its page, and what holds of their marks. Needs no torch."""
