"""Loaded before every test: triton (part of torch) and Mesa's software renderer each bring LLVM, and triton crashes the
process when it comes second, so it comes first."""

import importlib.util

if importlib.util.find_spec("triton"):
    importlib.import_module("triton")
