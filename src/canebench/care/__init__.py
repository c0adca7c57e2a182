"""Room: hearing, hygiene, blades and dust, blowing strain."""

from __future__ import annotations
