"""Many clips: a store, a queue of work, and the short list of what needs a person."""
