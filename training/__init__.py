"""Drawn footage and the making of networks: the only package that imports torch."""
