"""python -m config.drill.wrong_clock SECONDS, then Celery's words: its clock is ahead.

For whoever has the development packages.
"""

import sys
import time

import time_machine
from celery.__main__ import main

if __name__ == "__main__":
    ahead = int(sys.argv.pop(1))
    time_machine.travel(time.time() + ahead, tick=True).start()
    main()
