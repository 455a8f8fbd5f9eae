"""One table: which trouble ends a command with which exit code; and how it is said."""

from __future__ import annotations

from daq.errors import DaqError, MalformedPlan, StoppedForSafety
from keyplumb.many.errors import ManyError, NoClusterLibrary
from processing.errors import ProcessingError
from recordings.errors import RecordingError
from rig.errors import MalformedFile, MalformedScenario

DONE, FAILED, WRONG_USE, BAD_INPUT, RIG_OR_LINK, SAFETY, CANNOT_TELL, INTERRUPTED = 0, 1, 2, 3, 4, 5, 6, 130

EXIT_CODES: tuple[tuple[type[BaseException], int], ...] = (
    # the first that fits counts, so the special stand before the general
    (StoppedForSafety, SAFETY),
    (MalformedPlan, BAD_INPUT),
    (DaqError, RIG_OR_LINK),
    (NoClusterLibrary, BAD_INPUT),
    (ManyError, RIG_OR_LINK),
    (RecordingError, BAD_INPUT),
    (ProcessingError, BAD_INPUT),
    (MalformedScenario, BAD_INPUT),
    (MalformedFile, BAD_INPUT),
    (KeyboardInterrupt, INTERRUPTED),
    (OSError, BAD_INPUT),  # a folder that is not there, a disk that is full: the place, not the program
)


def exit_code_of(trouble: BaseException) -> int | None:
    """Return the exit code of an expected trouble, None for one that is a bug of ours."""
    return next((code for kind, code in EXIT_CODES if isinstance(trouble, kind)), None)


def in_words(trouble: BaseException) -> str:
    """Return what an expected trouble was, where, and what to do."""
    if exit_code_of(trouble) == INTERRUPTED:
        return str(trouble) or "interrupted; what was finished is safe, and `keyplumb resume` goes on with a survey"
    if type(trouble).__module__ == "builtins" and isinstance(trouble, OSError) and trouble.strerror:
        if trouble.filename is None:  # a network port that is taken, say
            return f"{trouble.strerror}; choose another"
        return f"{trouble.filename}: {trouble.strerror}; choose another place, or make room there"
    return str(trouble)
