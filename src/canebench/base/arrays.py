"""Names for the array types that cross function boundaries."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Real and complex arrays of double precision; a float32 result of arithmetic passes too.
FloatArray = NDArray[np.floating]
SampleArray = NDArray[np.float32]
ComplexArray = NDArray[np.complexfloating]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.integer]
