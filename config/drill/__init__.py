"""The drill: a small plant at work while faults strike, and a count at the end.

People log, correct and withdraw stops, count and confirm over HTTP. Meanwhile, at
random, workers and the web server are killed, the broker comes back empty, the
database goes away, a worker's clock is wrong and a cell-shift kills whoever computes
it. In the end nothing that was acknowledged may be missing or double, and every stored
cell-shift must equal a fresh computation.
"""
