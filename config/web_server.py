"""How gunicorn serves the pages, in the demo and on a site alike:

gunicorn config.wsgi --config python:config.web_server --bind …

It listens where --bind says; WEB_CONCURRENCY says how many processes it has.
"""

import os
from pathlib import Path

workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
threads = 4

# Loaded once before the processes are born: nobody's first page waits. So new code
# takes a restart, not a reload.
preload_app = True

# A page takes some tenths of a second; whatever takes a minute hangs.
timeout = 60
graceful_timeout = 30

# Longer than the proxy in front keeps its connections, so that none closes under it.
keepalive = 75

# On a disk, a slow one would look like a process that hangs.
if Path("/dev/shm").is_dir():
    worker_tmp_dir = "/dev/shm"

# A socket is for its user and its group, which the proxy is in.
umask = 0o007
control_socket_disable = True
