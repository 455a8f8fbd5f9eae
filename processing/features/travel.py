"""Travel: how far the key goes. Definitions: measurands.md, Travel."""

from __future__ import annotations

from processing.features.read_off import ReadOff


def key_dip(key: ReadOff) -> float:
    """Where the force first reaches bed_force beyond half of the stroke, mm."""
    return key.marks.key_dip_mm


def bed_contact(key: ReadOff) -> float:
    """Where the key bed begins to be felt, mm."""
    return key.marks.bed_contact_mm


def aftertouch(key: ReadOff) -> float:
    """Way left after the let-off's peak, mm."""
    return key.marks.key_dip_mm - key.peak_mm()
