"""Room: from deviations to balance, and from balance to the one next act."""

from __future__ import annotations
