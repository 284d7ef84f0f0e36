"""A gait record shown to a person: one page that stands alone."""
