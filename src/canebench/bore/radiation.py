"""What an open end radiates into: an end correction and a resistance.

To second order in ka, Z = rho c / S (j delta ka + (ka)^2 / 4) for an end whose surroundings are small
against the wavelength (Levine & Schwinger 1948, Phys. Rev. 73:383: delta = 0.6133, unflanged). Here in the
form Z = rho c / S * j ka / (1/delta + j ka / (4 delta^2)), which has the same expansion and is passive at
every frequency (Chaigne & Kergomard 2016, sec. 12.6). Guarded by `tests/published/test_radiation.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.bore.autodiff import Number
    from canebench.bore.losses import Medium

#: End correction over radius: a thin tube's open end (Levine & Schwinger 1948) and an end in a large flat
#: wall (Nomura, Yamamura & Inawashiro 1960, J. Phys. Soc. Japan 15:510).
UNFLANGED: Final = 0.6133
FLANGED: Final = 0.8216
#: A finger hole in a wall about as thick as the hole is wide lies between the two; Nederveen 1969,
#: *Acoustical Aspects of Woodwind Instruments*, takes 0.7 (value from memory).
FINGER_HOLE: Final = 0.70


def radiation_impedance(radius_m: Number, omega: Number, medium: Medium, *, correction: Number) -> Number:
    """Impedance (Pa s/m^3) that an open end of that radius sees; `correction` is delta, > 0."""
    resistance = medium.density_kg_m3 * (medium.stiffness_pa / medium.density_kg_m3) ** 0.5
    speed = (medium.stiffness_pa / medium.density_kg_m3) ** 0.5
    ka = radius_m * omega / speed
    characteristic = resistance / (np.pi * (radius_m * radius_m))
    return characteristic * (1j * ka) / (1 / correction + 0.25j * ka / (correction * correction))
