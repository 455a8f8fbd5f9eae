"""Where everything stands in the HDF5 file, by the conventions of NeXus (an open standard: nexusformat.org).

    /                         NXroot, default = entry
    /entry                    NXentry, default = the first key; title, start_time, program_name
    /entry/user               NXuser: the operator
    /entry/sample             NXsample: the keyboard under test, the room
    /entry/instrument         NXinstrument: the rig
    /entry/record             NXcollection, what NeXus has no names for: schema, complete, rig, give, source file, the
                              unit's own serial number (`unit_serial`; `serial_number` is the rig's)
    /entry/record/force, .../displacement          NXcollection: the scale of each channel
    /entry/record/calibration NXcollection: the calibration record as its JSON text, with id and SHA-256 of the text
    /entry/key_40             NXdata of C4: signal force_counts over displacement_counts; sample_number, tick_us
    /entry/key_40_log         NXcollection of C4: events, marks, damage
    /entry/key_40_aside_1, .../key_40_aside_1_log  the same of an attempt that was set aside, with its reason
    /entry/record/diary       NXcollection: what happened meanwhile, by the host's clock

The file holds counts. A viewer that knows `scaling_factor` and `offset` can show physical units; newtons are not
stored.
"""

from __future__ import annotations

from dataclasses import dataclass

SCHEMA = "keyplumb.recording/1"
ENTRY = "entry"
RECORD = "record"
KEY_GROUP = "key_{number:02d}"
ASIDE_GROUP = "key_{number:02d}_aside_{attempt}"
LOG_OF = "{group}_log"
DIARY = "diary"
CALIBRATION = "calibration"


@dataclass(frozen=True, slots=True)
class Column:
    """One dataset of a key: its name, its type on disk, and what a reader should know."""

    name: str
    dtype: str
    unit: str
    meaning: str


TRACE_COLUMNS = (
    Column("sample_number", "int64", "", "running number of the sample; a step larger than one is a gap"),
    Column("tick_us", "int64", "us", "the rig's clock"),
    Column("force_counts", "int32", "counts", "force channel, as it came"),
    Column("displacement_counts", "int32", "counts", "displacement channel, as it came; downward positive"),
)
EVENT_COLUMNS = (
    Column(
        "tick_us",
        "int64",
        "us",
        "the rig's clock when the byte or edge arrived; of the host's MIDI port as reckoned from the host's clock",
    ),
    Column("source", "uint8", "", "0 MIDI input, 1 contact, 2 strike sensor, 3 foot switch, 4 MIDI port of the host"),
    Column("byte", "uint8", "", "the MIDI byte; an edge is 1 (closed) or 0 (open)"),
)
