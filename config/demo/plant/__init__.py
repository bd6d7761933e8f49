"""The fictional demo plants: what stands there, and how it ran.

Everything here is invented. One engine runs two descriptions: the whole plant, whose
thirteen weeks end just before today, and a small one of fixed dates, which
``python -m config.demo.plant fixtures/demo`` writes again, byte for byte the same.
"""
