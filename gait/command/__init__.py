"""The commands behind `pawfall`: each maps words on the command line to a call, and errors to one line."""
