"""Conditions, visits and groups of dogs, compared like with like. Pure: records in, a Comparison out."""
