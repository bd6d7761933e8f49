import sys
from pathlib import Path

from config.demo.plant.files import write_plant
from config.demo.plant.small import small_plant

write_plant(Path(sys.argv[1]), small_plant())
