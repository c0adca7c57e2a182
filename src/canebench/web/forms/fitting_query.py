"""What a fitting aims at, as it stands in the address: scale, reference, how far seat and pinches may go.

Guarded by `tests/web/test_fitting.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from canebench.base.parsing import count_from, number_from
from canebench.base.scales import scale_named
from canebench.bench.acts.fitting.fit_request import FitRequest

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.acts.fitting.fitting import Fitting

#: What the address may say, each as typed.
_FIELDS: Final = ("scale", "reference", "deeper", "higher", "pinches_left")


def query_of(given: Mapping[str, str]) -> dict[str, str]:
    """What was given of it: nothing where the fitting goes on as before."""
    return {name: given[name] for name in _FIELDS if given.get(name)}


def request_from(given: Mapping[str, str]) -> FitRequest:
    """Read it; what will not do is an `InputError`."""
    told = query_of(given)
    return FitRequest(
        scale=scale_named(told["scale"]) if "scale" in told else None,
        reference=_reference(told["reference"]) if "reference" in told else None,
        deeper_mm=number_from(told["deeper"], "deeper at most") if "deeper" in told else None,
        higher_mm=number_from(told["higher"], "higher at most") if "higher" in told else None,
        pinches_left=count_from(told["pinches_left"], "pinches left") if "pinches_left" in told else None,
    )


def shown(fitting: Fitting) -> dict[str, str]:
    """What the form shows."""
    return {
        "scale": fitting.scale.name,
        "reference": "drones" if fitting.reference_hz is None else f"{fitting.reference_hz:g}",
        "deeper": f"{fitting.limits.deeper_mm:g}",
        "higher": f"{fitting.limits.higher_mm:g}",
        "pinches_left": f"{fitting.limits.pinches_left}",
    }


def _reference(given: str) -> float | Literal["drones"]:
    if given.strip().lower() in ("drones", "low a", "low-a"):
        return "drones"
    return number_from(given.lower().strip().removesuffix("hz"), "reference", or_else="drones")
