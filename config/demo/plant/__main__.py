import sys
from pathlib import Path

from config.demo.plant.files import write_plant

write_plant(Path(sys.argv[1]))
