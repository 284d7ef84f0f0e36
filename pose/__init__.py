"""Picture to landmarks over time. Knows nothing of gait and nothing of training."""
