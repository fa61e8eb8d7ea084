"""Trying remedies: one changed site serves all the inverters that are asked for."""

from __future__ import annotations
