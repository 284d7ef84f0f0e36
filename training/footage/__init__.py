"""Drawn dogs on a belt with exact truth. Unit of the body: withers height; of the scene: metre.

Axes (ISB, Wu & Cavanagh 1995): X forward, Y up, Z to the dog's right. Dogs are drawn facing right,
so near = right = +Z; a dog that faces left is the mirrored picture.
"""
