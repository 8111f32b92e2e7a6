"""The invented estate Larkfold, at full size: a seeded scenario, no real data.

``estate`` holds its numbers, ``book`` writes many entries at once, and one module each makes the
herd, the grass, the milk and the things that go wrong. The same seed and moment give the same
estate.
"""
