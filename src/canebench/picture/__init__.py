"""Room: the beam as a picture, the same for page, print and command."""

from __future__ import annotations
