"""The demo's plant lives on: what would happen next happens, when its time has come.

What comes is worked out by the engine that made the weeks before, and put down by the
demo's people through the same verbs as everybody's. So a live demo can be right or
wrong exactly where a plant can.
"""
