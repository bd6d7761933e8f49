"""The fictional demo plant: what stands there, how four weeks of it ran.

Everything here is invented. ``python -m config.demo.plant fixtures/demo`` writes
the committed files again, byte for byte the same, from the seed in ``layout``.
"""
