import sys
from pathlib import Path

from config.demo.plant.files_old import write_plant

write_plant(Path(sys.argv[1]))
