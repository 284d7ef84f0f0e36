"""Landmarks over time to numbers to words. The core is pure: same input, same output."""
