"""Frames of new footage for people to mark: choosing them, marking them, keeping the marks. Needs no torch."""
