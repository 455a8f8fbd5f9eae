"""Does a recording rest on a calibration that is good for it; and what must be said beside its numbers if not.

How it works: force and displacement are looked at apart, for a record may have one part only. A part is `missing` if
nobody has calibrated it, `foreign` if the record belongs to another rig (or the recording does not know its rig),
`expired` if the record was no longer valid when the recording began, else `calibrated`. The status of a recording is
that of its force. Numbers carry it as flags; forces that people read carry it as a mark beside their unit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any, Literal

from processing.display import Units
from processing.stages import CalibratedTrace, KeyResult, Measurement, Stroke
from recordings.calibration_file import content_id
from recordings.calibration_record import CalibrationRecord
from recordings.types import Header

Status = Literal["calibrated", "expired", "foreign", "missing"]
Channel = Literal["force", "displacement"]
FLAG_OF: dict[Status, str] = {
    "missing": "uncalibrated",
    "expired": "calibration_expired",
    "foreign": "calibration_foreign",
}
MARK_OF: dict[Status, str] = {
    "calibrated": "",
    "missing": "uncalibrated",
    "expired": "calibration expired",
    "foreign": "foreign calibration",
}
"""Beside every force that people read."""
CHANNELS_OF: dict[str, tuple[Channel, ...]] = {
    "N": ("force",),
    "mm": ("displacement",),
    "mJ": ("force", "displacement"),
    "kg": ("force", "displacement"),
}
"""Which channel's scale a unit rests on; ratios and times rest on none."""
READ_AT_THE_BED = ("key_dip", "press_work", "return_work", "loop_work")
"""These need the force up to the key bed's threshold, whatever their own value."""
ID_SHOWN = 12
"""Digits of a record's id that people are shown."""


def channel_status(header: Header, channel: Channel) -> Status:
    """Return how well one channel's scale is known for a recording."""
    record = header.calibration.record
    if record is None or getattr(record, channel) is None:
        scale = getattr(header.calibration, channel)
        return "missing" if scale.calibrated_on is None else "calibrated"
    if not record.is_of(header.rig.model, header.rig.serial_number):
        return "foreign"
    return "expired" if record.valid_until < header.run.started_at else "calibrated"


def calibration_status(header: Header) -> Status:
    """Return the status of a recording: that of its force."""
    return channel_status(header, "force")


def marked(units: Units, header: Header) -> Units:
    """Return the reader's units with the mark that every force of a recording must carry."""
    return replace(units, force_mark=MARK_OF[calibration_status(header)])


def calibration_view(header: Header) -> dict[str, Any]:
    """Return what is known of a recording's calibration as plain data, for JSON."""
    record = header.calibration.record
    return {
        "status": calibration_status(header),
        "force": channel_status(header, "force"),
        "displacement": channel_status(header, "displacement"),
        "sentence": calibration_sentence(header),
        "record": content_id(record) if record else None,
        "rig": {"model": record.rig.model, "serial_number": record.rig.serial_number} if record else None,
        "made_at": record.made_at.isoformat() if record else None,
        "valid_until": record.valid_until.isoformat() if record else None,
        "missing_parts": list(record.missing_parts) if record else None,
    }


def calibration_sentence(header: Header) -> str:
    """Return in a sentence or two whether the numbers can be traced, and what of them cannot."""
    record, status = header.calibration.record, calibration_status(header)
    if record is None:
        if status == "calibrated":
            return f"Calibrated: {header.calibration.force.reference}."
        return "Uncalibrated: the scales of force and travel are as stated, not checked with masses and gauge blocks."
    return f"{_about_force(record, header, status)}{_about_the_rest(record)}"


def _about_force(record: CalibrationRecord, header: Header, status: Status) -> str:
    which = f"record {content_id(record)[:ID_SHOWN]} of {record.made_at:%Y-%m-%d}"
    if status == "missing":
        return f"Uncalibrated: {which} has no part for the force, whose scale is as stated."
    if status == "foreign":
        here = " ".join(filter(None, (header.rig.model, header.rig.serial_number))) or "a rig that is not known"
        there = f"{record.rig.model} {record.rig.serial_number}"
        return f"Foreign calibration: {which} belongs to {there}, the recording was made with {here}."
    if status == "expired":
        began = f"{header.run.started_at:%Y-%m-%d}"
        return f"Calibration expired: {which} was valid until {record.valid_until:%Y-%m-%d}, recorded on {began}."
    return f"Calibrated: {which}, valid until {record.valid_until:%Y-%m-%d}."


def _about_the_rest(record: CalibrationRecord) -> str:
    others = [part for part in record.missing_parts if part != "force"]
    return f" Not calibrated, as the rig states it: {', '.join(others)}." if others else ""


def with_calibration_flags(result: KeyResult, header: Header) -> KeyResult:
    """Return a key's results with a flag on every number whose scale is not calibrated, expired or another rig's."""
    flag_of = {channel: FLAG_OF.get(channel_status(header, channel)) for channel in ("force", "displacement")}
    return replace(
        result,
        measurements=tuple(
            _flagged(measured, (flag_of[channel] for channel in _channels(measured)))
            for measured in result.measurements
        ),
    )


def _channels(measured: Measurement) -> list[Channel]:
    return [channel for unit in measured.unit.split("/") for channel in CHANNELS_OF.get(unit, ())]


def _flagged(measured: Measurement, flags: Iterable[str | None]) -> Measurement:
    new = [flag for flag in dict.fromkeys(flags) if flag is not None and flag not in measured.flags]
    return measured if measured.value is None else replace(measured, flags=(*measured.flags, *new))


def with_range_flags(
    measurements: tuple[Measurement, ...], trace: CalibratedTrace, used: tuple[Stroke, ...], bed_newton: float
) -> tuple[Measurement, ...]:
    """Return numbers with the flag `outside_calibrated_range` on those that need force or way beyond the calibration.

    A force needs the range from the cell's zero to its own value, what is read at the bed up to bed_newton; a place
    needs the range of the gauge from touch to itself.
    """
    ranges = {"force": trace.force_range_newton, "displacement": trace.displacement_range_mm}
    starts = {"force": [s.zero_newton for s in used], "displacement": [s.touch_mm for s in used]}

    def outside(measured: Measurement) -> bool:
        needs: dict[Channel, float] = {}
        if measured.unit in ("N", "mm") and measured.value is not None:
            needs[CHANNELS_OF[measured.unit][0]] = measured.value
        if measured.name in READ_AT_THE_BED:
            needs["force"] = bed_newton
        return any(_beyond(ranges[channel], starts[channel], need) for channel, need in needs.items())

    return tuple(
        _flagged(measured, ["outside_calibrated_range"] if outside(measured) else []) for measured in measurements
    )


def _beyond(calibrated: tuple[float, float] | None, starts: list[float], need: float) -> bool:
    """Tell whether a way from any of the starts, `need` long, leaves what was calibrated."""
    if calibrated is None:
        return False
    ends = [*starts, *(start + need for start in starts)]
    return min(ends) < calibrated[0] or max(ends) > calibrated[1]
