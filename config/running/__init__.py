"""The running state: whether the parts are there and keep up, in words."""
