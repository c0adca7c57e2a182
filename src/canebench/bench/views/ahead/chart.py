"""The numbers of a forecast's chart. Guarded by `tests/web/test_ahead.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.pressure import from_kpa

if TYPE_CHECKING:
    from canebench.bench.views.ahead.foretold import Foresight


def chart_of(one: Foresight) -> dict[str, object]:
    """What it plays at by minutes played, in a band’s unit: readings, and the forecast with its interval."""

    def there(kpa: float) -> float:
        return round(from_kpa(kpa, one.unit), 2)

    return {
        "unit": str(one.unit),
        "past": [{"minutes": round(minutes, 1), "value": there(kpa)} for minutes, kpa in one.past],
        "ahead": [
            {
                "minutes": round(one.minutes + line.minutes, 1),
                "low": there(line.plays_kpa.low_80),
                "middle": there(line.plays_kpa.median),
                "high": there(line.plays_kpa.high_80),
            }
            for line in one.lines
            if line.minutes is not None
        ],
    }
