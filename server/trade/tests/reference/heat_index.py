"""Writes heat_index.csv: the heat index of MetPy on a grid. Run: python heat_index.py

MetPy switches from the simple form to the regression earlier than the formula's own page has it,
so the grid starts at 82 F, where the simple form gives 80 F or more at every humidity of the grid
and both use the regression.
"""
import metpy
import numpy as np
from metpy.calc import heat_index
from metpy.units import units

with open("heat_index.csv", "w") as out:
    out.write(f"# MetPy {metpy.__version__}, mask_undefined=False\n")
    out.write("temperature_fahrenheit,relative_humidity_percent,heat_index_fahrenheit\n")
    for temperature in np.arange(82.0, 113.0, 1.0):
        for humidity in np.arange(5.0, 101.0, 5.0):
            value = heat_index(temperature * units.degF, humidity / 100.0, mask_undefined=False)
            out.write(f"{temperature},{humidity},{float(np.squeeze(value.to('degF').m))!r}\n")
